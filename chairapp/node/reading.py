"""What commands do with a node's data without stopping it: make a label, check the chain and the signatures."""

import os
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from chairapp.audit.signed import digest_state
from chairapp.box.desk import Box, Kind, file_of
from chairapp.box.errors import BoxError, LabelError
from chairapp.box.label import size_from
from chairapp.box.prescription import Paper, pdf
from chairapp.clinic import CLINIC_VISIT
from chairapp.node.desk import desk_of
from chairapp.node.documents import Documents
from chairapp.node.errors import FolderError
from chairapp.node.folder import Folder, open_folder
from chairapp.node.node import Node, sqlite_url
from chairapp.node.settings import ENVIRONMENT, Settings, read_settings
from chairapp.people.proof import keys_in, proved
from chairapp.sequence import digest as sequence_digest
from chairapp.sequence import document, jaw_relation
from sync.seal import verify_store
from sync.sql_store import SqlStore
from sync.store import Store
from sync.tiny_store import TinyStore

__all__ = ["Checked", "check_all", "check_store", "database", "label_file", "prescription_file", "reading"]

Doc = dict[str, Any]


def label_file(
    code: str, data: Path, out: Path, dpi: int, size: str | None, environment: Mapping[str, str], at: datetime
) -> None:
    """Write the label of this box to `out`. Raises BoxError (NoSignature among them) and NodeError."""
    kind = _kind_of(out)
    with reading(data) as (folder, store):
        node = Node(_settings(folder, environment), folder, store)
        desk = desk_of(node)
        if size:
            desk.size = size_from(size)
        box = _only(desk.find(code), code, f"print the label from the page /label/{code}")
        made = file_of(desk.layout(box), kind, dpi, at)
    _write(out, made)


def prescription_file(code: str, data: Path, out: Path, paper: Paper | None, environment: Mapping[str, str]) -> None:
    """Write the prescription of this box to `out`, a PDF. Raises BoxError (NoSignature among them) and NodeError."""
    if out.suffix.lower() != ".pdf":
        raise LabelError(f"--out {out}: name a .pdf file")
    with reading(data) as (folder, store):
        desk = desk_of(Node(_settings(folder, environment), folder, store))
        box = _only(desk.find(code), code, f"make it at the page /B/{code}/prescription")
        made = pdf(desk.prescription(box), paper or desk.paper)
    _write(out, made)


def _only(boxes: list[Box], code: str, instead: str) -> Box:
    if len(boxes) > 1:
        raise BoxError(f"{len(boxes)} visits have the code {code}: {instead}")
    return boxes[0]


def _write(out: Path, made: bytes) -> None:
    try:
        out.write_bytes(made)
    except OSError as error:
        raise LabelError(f"--out {out}: cannot be written: {error.strerror}") from None


@dataclass(frozen=True)
class Checked:
    """`flaw` is the first thing wrong, or None; `sentence` says what was looked at."""

    flaw: str | None
    sentence: str = ""


def check_all(data: Path | None, url: str | None) -> Checked:
    """`check_store` of a node, running or not, or of a database alone. Raises NodeError."""
    with reading(data) if data else database(url or "") as (folder, store):
        return check_store(store, folder)


def check_store(store: Store, folder: Folder | None) -> Checked:
    """Walk the chain of every entry, then recompute the digest of every signature and check its proof."""
    if store.damaged:
        return Checked(f"{len(store.damaged)} damaged lines in the journal, the first: {store.damaged[0]}")
    if flaw := verify_store(store):
        return Checked(flaw.why)
    found, wrong = _check_signatures(store, folder)
    if wrong:
        return Checked(wrong)
    return Checked(None, _told(store, found))


def _check_signatures(store: Store, folder: Folder | None) -> tuple[Counter[str], str]:
    """How many signatures hold, are proved, cannot be checked; then the first that is wrong, if one is."""
    found: Counter[str] = Counter()
    keys = keys_in(store.visit(CLINIC_VISIT))
    for visit in _visits(store):
        entries = store.visit(visit)
        for signature, sequence in _signatures(entries, folder):
            proof, state = proved(signature, keys), digest_state(sequence, entries, signature)
            if proof == "false":
                return found, f"signature {signature['id']} of visit {visit} is not made by the key of its author"
            if state == "other":
                return found, f"signature {signature['id']} of visit {visit} is over other entries than it says"
            found[proof] += 1
            found[state] += 1
    return found, ""


def _told(store: Store, found: Counter[str]) -> str:
    head = store.head()
    told = f"{head.position} entries and {found['holds']} signatures hold"
    told += f" ({found['proved']} proved by a key, {found['unknown key'] + found['no proof']} not proved, 0 false)"
    if found["unknown"]:
        told += f", {found['unknown']} of an unknown sequence not checked"
    if gone := len(store.erasures()):
        told += f". {gone} values were erased"
    if found["erased"]:
        told += f", {found['erased']} signatures over them can no longer be recomputed"
    if purged := store.cut().position + sum(bool(link.leaf) for link in store.links()):
        told += f". {purged} entries were purged"
    if torn := getattr(store, "torn", 0):
        told += f". {torn} bytes of a line that was never wholly written were left out"
    return f"{told}. Head {head.hash[:16]}."


def _kind_of(out: Path) -> Kind:
    kind = out.suffix.lower().removeprefix(".")
    if kind in ("pdf", "svg", "png"):
        return kind  # type: ignore[return-value]
    raise LabelError(f"--out {out}: name a .pdf, .svg or .png file")


def _settings(folder: Folder, environment: Mapping[str, str]) -> Settings:
    return read_settings(folder.role, folder.path, {}, environment, folder.file)


@contextmanager
def reading(data: Path) -> Iterator[tuple[Folder, Store]]:
    """The folder and its store without the lock: a node may be writing to it meanwhile."""
    folder = open_folder(data)
    if folder.role == "chair":
        store: Store = TinyStore(folder.path, write=False)
    else:
        given = os.environ.get(f"{ENVIRONMENT}STORE") or folder.file.get("store")
        store = SqlStore(str(given or _existing(folder.database)), write=False)
    try:
        yield folder, store
    finally:
        store.close()


@contextmanager
def database(url: str) -> Iterator[tuple[None, Store]]:
    if url.startswith("sqlite:///"):
        _existing(Path(url.removeprefix("sqlite:///")))
    store = SqlStore(url, write=False)
    try:
        yield None, store
    finally:
        store.close()


def _existing(file: Path) -> str:
    """SQLite would make an empty database of a slip in the name."""
    if not file.is_file():
        raise FolderError(f"{file}: there is no such database")
    return sqlite_url(file)


def _visits(store: Store) -> Iterator[str]:
    cursor, more = None, True
    while more:
        page = store.visits(cursor)
        yield from (touched.visit for touched in page.visits)
        cursor, more = page.cursor, page.more


def _signatures(entries: list[Doc], folder: Folder | None) -> Iterator[tuple[Doc, Doc | None]]:
    """Every signature of a visit and the sequence document it was signed under, None where that is not kept."""
    signatures = [entry for entry in entries if entry["kind"] == "signature"]
    if not signatures:
        return
    opened = [entry["value"]["digest"] for entry in entries if entry["kind"] == "opened"]
    sequence = _sequence(opened[-1], folder) if opened else None
    yield from ((signature, sequence) for signature in signatures)


def _sequence(name: str, folder: Folder | None) -> Doc | None:
    own = document(jaw_relation())
    if sequence_digest(own) == name:
        return own
    return Documents(folder).sequence(name) if folder else None
