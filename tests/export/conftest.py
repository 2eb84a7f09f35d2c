"""A clinic's store with the demo's invented visits, and sources over it."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from chairapp.case import case_of, entries_of
from chairapp.export.source import Source
from chairapp.node.documents import Documents
from chairapp.node.folder import make_folder
from chairapp.node.node import open_store
from chairapp.people.demo import demo_clinic
from chairapp.sequence import digest, document, jaw_relation
from sync.blobs import FolderBlobs
from sync.entry import Stamper
from sync.sql_store import SqlStore

CASES = sorted((Path(__file__).parents[2] / "demo_cases").glob("*.json"))
DOC = document(jaw_relation())
DIGEST = digest(DOC)
START_MS = 1_795_600_000_000
MADE = "2026-11-25T09:00:00.000Z"
LOOKED = {"at": MADE, "who": "mgr-1", "role": "manager", "what": "looked at a visit"}


def visits():
    """The demo's visits, each a day after the one before, with what boxes and try-ins leave behind."""
    for number, file in enumerate(CASES):
        case = case_of(json.loads(file.read_text()))
        yield entries_of(case, DOC, START_MS + number * 86_400_000, "tablet-1")


def later(entries, device="node-1"):
    """A device that knows all of these."""
    stamper = Stamper(device, wall=lambda: entries[-1]["clock"][0] + 60_000)
    for entry in entries:
        stamper.merge(entry)
    return stamper


def fill(store):
    """The first visit's box was away and tried in; the second changed after it was signed; the last lost a value."""
    made = list(visits())
    for entries in made:
        store.add(entries)
    first, second, last = made[0], made[1], made[-1]
    box, tried = later(first), dict.fromkeys(("vertical", "centric", "plane", "midline", "display"), "right")
    store.add(
        [
            box.entry(first[0]["visit"], "movement", author="asst-1", item="box", value={"wanted": "2026-12-04"}),
            box.entry(first[0]["visit"], "movement", author="asst-1", item="box", value={"to": "laboratory"}),
            box.entry(first[0]["visit"], "movement", author="asst-1", item="box", value={"to": "finished"}),
            box.entry(
                first[0]["visit"], "outcome", author="clin-1", item="try_in", value=tried | {"repeat": False, "why": ""}
            ),
        ]
    )
    tablet = later(second, "tablet-2")
    store.add([tablet.entry(second[0]["visit"], "reading", author="clin-1", item="lip.nasolabial", value=95)])
    note = next(entry for entry in last if entry["kind"] == "reading")
    store.add([erasing(last, note)])
    return made


def erasing(entries, entry):
    from sync import erased

    return erased.make(later(entries), entry, "typed into the wrong visit", "mgr-1")


@pytest.fixture(scope="session")
def store(tmp_path_factory):
    opened = SqlStore(f"sqlite:///{tmp_path_factory.mktemp('export')}/clinic.sqlite")
    fill(opened)
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def source(store, tmp_path_factory):
    blobs = FolderBlobs(tmp_path_factory.mktemp("blobs"))
    return Source(store, {DIGEST: DOC}.get, demo_clinic(DIGEST, "127.0.0.1:8090"), blobs=blobs)


@pytest.fixture(scope="session")
def data(tmp_path_factory):
    """The data folder of a clinic server that is not running."""
    path = tmp_path_factory.mktemp("node") / "data"
    folder = make_folder(path, "clinic", {})
    documents = Documents(folder)
    documents.keep_clinic(demo_clinic(documents.keep_sequence(DOC), "127.0.0.1:8090"))
    store = open_store(folder)
    fill(store)
    store.close()
    return path


@pytest.fixture
def one(source):
    """The record of one patient, looked at once before."""
    return replace(source, code="KP5GQ3N6", access=lambda visit: iter([LOOKED | {"visit": visit}]))
