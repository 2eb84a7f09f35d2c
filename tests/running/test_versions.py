"""An old tablet with a new node and the other way round: one version keeps all, a later one waits in a drawer."""

import json

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from chairapp.box.code import new_code
from sync import border
from sync.access import FileDevices
from sync.entry import canonical
from sync.errors import HopError, HopRefused
from sync.hop import Hop
from sync.models import Answer
from sync.routes import routes
from sync.tiny_store import TinyStore
from tests.running.conftest import node_of
from tests.sync.conftest import Maker


class Served:
    """A real node's side of the hop, with its own checks."""

    def __init__(self, node, kind):
        self.node = node
        self.device, self.token = node.devices.add(kind, "Other side", "K")
        app = FastAPI()
        app.include_router(routes(node.store, node.devices, node.check))
        border.answer_errors(app)
        self.web = TestClient(app, headers={"Authorization": f"Bearer {self.token}"})

    def hand_in(self, body):
        answer = self.web.post("/sync/entries", content=json.dumps(body))
        assert answer.status_code == 200, answer.text
        return answer.json()

    def fetch(self, visit):
        return self.web.get("/sync/entries", params={"visit": visit}).json()["entries"]


@pytest.fixture
def chair(tmp_path):
    node = node_of(tmp_path / "chair", "chair", clinic="http://127.0.0.1:9")
    yield Served(node, "tablet")
    node.store.close()


@pytest.fixture
def clinic(tmp_path):
    node = node_of(tmp_path / "clinic")
    yield Served(node, "node")
    node.store.close()


def later_entry(maker, **changed):
    """As a later minor version of the program may write it: a kind of its own, with whatever value."""
    entry = maker.reading(value={"words": ["x"], "later": {"a": 1}})
    return entry | {"kind": "later-kind", "item": "later.item"} | changed


def test_a_newer_tablet_hands_in_at_an_older_node_and_every_byte_is_kept(chair):
    maker = Maker(chair.device.id)
    entries = [maker.reading(), later_entry(maker), later_entry(maker, item=None)]
    opened = {"sequence": "jaw-relation", "digest": "0" * 64, "box": new_code("K"), "chair": "1", "language": "en"}
    entries[0] |= {"kind": "opened", "item": None, "value": opened | {"later": {"a": 1}}}
    answer = chair.hand_in({"entries": entries, "waiting": 0, "later": {"battery": 80}, "mode": "later"})
    assert (answer["stored"], answer["refused"]) == ([entry["id"] for entry in entries], [])
    assert [canonical(entry) for entry in chair.fetch(maker.visit)] == [canonical(entry) for entry in entries]
    assert chair.node.store.refused_count() == 0


def test_an_older_tablet_that_says_no_more_than_its_entries_is_taken_by_a_newer_node(chair):
    maker = Maker(chair.device.id)
    entry = later_entry(maker)
    assert chair.hand_in({"entries": [entry]})["stored"] == [entry["id"]]


def test_an_entry_of_a_later_major_version_waits_in_the_drawer_with_a_clear_line_and_blocks_nobody(chair):
    maker = Maker(chair.device.id)
    later = {**later_entry(maker), "v": 2, "of": {"id": "another shape"}, "signed": "a field nobody knows yet"}
    behind = later_entry(maker)
    answer = chair.hand_in({"entries": [later, behind]})
    assert answer["stored"] == [behind["id"]]
    [refused] = answer["refused"]
    assert refused == {
        "id": later["id"],
        "field": "v",
        "why": "a newer Threemark wrote this entry",
        "do": "Update this side; it is then offered again by itself.",
    }
    [record] = chair.node.store.refused()
    assert record.entry == later


def test_another_protocol_is_refused_in_one_line_and_nothing_of_it_is_read(chair):
    answer = chair.web.post("/sync/entries", content=b"no JSON of ours", headers={"Threemark-Protocol": "2"})
    assert answer.status_code == 400
    said = answer.json()["error"]
    assert said["why"] == "This side speaks protocol 1, the other one '2': update the older of the two."
    assert said["do"] == "Nothing is lost: after the update everything is sent by itself."


def converse(hop, served, more=None, headers=None):
    """One round of a hop with a node; `more` are fields a later program answers besides."""
    steps = hop.round()
    call = next(steps)
    while True:
        given = served.web.request(
            call.method, call.path, params=call.params, content=call.body or None, headers=headers or {}
        )
        try:
            if given.status_code != 200:
                call = steps.throw(HopRefused(given.json()["error"]["why"], given.status_code))
            else:
                call = steps.send(call.model.model_validate(given.json() | (more or {})))
        except StopIteration:
            return


def test_an_older_chair_node_takes_the_answers_of_a_newer_clinic_server(clinic, tmp_path):
    store = TinyStore(tmp_path / "old")
    mine, theirs = Maker(), Maker()
    store.add([later_entry(mine)])
    clinic.node.store.add([later_entry(theirs)])
    hop = Hop(store)
    converse(hop, clinic, more={"later": 1, "advice": {"try": "again"}})
    assert hop.status()["pending"] == 0
    assert [entry["visit"] for entry in store.visit(theirs.visit)] == [theirs.visit]
    assert clinic.node.store.visit(mine.visit) == store.visit(mine.visit)
    store.close()


def test_what_could_not_be_sent_to_an_older_clinic_server_is_sent_after_its_update(clinic, tmp_path):
    store, maker = TinyStore(tmp_path / "new"), Maker()
    store.add([later_entry(maker)])
    hop = Hop(store)
    with pytest.raises(HopError, match="update the older of the two"):
        converse(hop, clinic, headers={"Threemark-Protocol": "2"})
    assert (hop.status()["pending"], clinic.node.store.visit(maker.visit)) == (1, [])
    converse(hop, clinic)
    assert (hop.status()["pending"], len(clinic.node.store.visit(maker.visit))) == (0, 1)
    store.close()


def test_an_answer_without_what_later_versions_added_is_understood():
    head = {"epoch": "e", "position": 0, "hash": "0" * 64}
    first = Answer.model_validate({"stored": [], "refused": [], "settled": [], "head": head, "epoch": "e"})
    assert (first.holds, first.yours) == (True, None)


def test_devices_of_an_older_file_are_known_by_a_newer_program(tmp_path):
    devices = FileDevices(tmp_path / "devices.json")
    _, token = devices.add("tablet", "Chair 1", "K")
    content = json.loads((tmp_path / "devices.json").read_text())
    for row in content["devices"]:
        del row["revoked"], row["blocked"]
    (tmp_path / "devices.json").write_text(json.dumps(content))
    assert FileDevices(tmp_path / "devices.json").by_token(token).letter == "K"
