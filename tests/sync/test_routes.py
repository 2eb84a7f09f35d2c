"""The hop in, asked over HTTP as a tablet asks it, on each store."""

import asyncio
import gzip
import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from sync import border, erased, seal
from sync.access import FileDevices
from sync.blobs import FolderBlobs
from sync.clock import FAR_AHEAD_MS
from sync.entry import Entry, Refusal
from sync.errors import StoreFull
from sync.routes import routes
from sync.store import Added, Store
from tests.sync.conftest import MORNING, Clock, Maker


class Server:
    """A node's API over a store, asked with a tablet's or a node's token."""

    def __init__(self, store: Store, folder: Path, clock: Clock) -> None:
        self.store = store
        self.devices = FileDevices(folder / "devices.json")
        self.tablet, self.tablet_token = self.devices.add("tablet", "Chair 1", "K")
        self.node, self.node_token = self.devices.add("node", "Bag", "M")
        self.app = FastAPI()
        blobs = FolderBlobs(folder / "blobs")
        self.app.include_router(routes(store, self.devices, _check, blobs=blobs, state=_state, now=clock))
        border.answer_errors(self.app)
        self.client = TestClient(self.app)

    def post(self, entries: Any, *, token: str = "", **how: Any) -> httpx.Response:
        body = json.dumps({"entries": entries}).encode()
        return self.call("POST", "/sync/entries", token=token, content=body, **how)

    def call(self, method: str, path: str, *, token: str = "", headers: Any = None, **how: Any) -> httpx.Response:
        given = {"Authorization": f"Bearer {token or self.node_token}", **(headers or {})}
        return self.client.request(method, path, headers=given, **how)

    def get(self, path: str, **params: Any) -> Any:
        answer = self.call("GET", path, params=params)
        assert answer.status_code == 200, answer.text
        return answer.json()


def _check(entry: Entry) -> Refusal | None:
    return Refusal("item", "there is no such item", "Choose one of the sequence.") if entry["item"] == "none" else None


def _state(entries: list[Entry]) -> str:
    return "finished" if any(entry["kind"] == "outcome" for entry in entries) else "open"


@pytest.fixture
def server(store: Store, tmp_path: Path, clock: Clock) -> Iterator[Server]:
    server = Server(store, tmp_path, clock)
    with server.client:
        yield server


def _is_error(answer: httpx.Response, status: int, field: str) -> None:
    assert answer.status_code == status, answer.text
    error = answer.json()["error"]
    assert error["field"] == field
    assert error["why"]
    assert error["do"]
    assert answer.headers["Threemark-Protocol"] == "1"


def test_a_batch_is_stored_and_the_answer_names_each_entry_and_the_head(server: Server, maker: Maker) -> None:
    entries = maker.readings(3)
    answer = server.post(entries)
    assert answer.status_code == 200
    assert answer.headers["Threemark-Protocol"] == "1"
    head = server.store.head()
    assert answer.json() == {
        "stored": [entry["id"] for entry in entries],
        "refused": [],
        "settled": [],
        "head": {"epoch": head.epoch, "position": 3, "hash": head.hash},
        "epoch": head.epoch,
        "holds": True,
        "yours": None,
    }
    assert server.store.visit(maker.visit) == entries


def test_the_same_batch_again_is_answered_the_same_and_kept_once(server: Server, maker: Maker) -> None:
    entries = maker.readings(3)
    assert server.post(entries).json() == server.post(entries).json()
    assert server.store.head().position == 3


def test_another_entry_with_a_known_id_is_refused_never_stored_and_kept_in_the_drawer(
    server: Server, maker: Maker
) -> None:
    entry = maker.reading()
    server.post([entry])
    other = {**entry, "value": 99}
    answer = server.post([other]).json()
    assert answer["stored"] == []
    [refused] = answer["refused"]
    assert (refused["id"], refused["field"], refused["why"]) == (entry["id"], "id", "another entry has this id")
    assert server.store.visit(maker.visit) == [entry]
    assert [record.entry for record in server.store.refused()] == [other]


def test_refused_entries_do_not_block_those_behind_and_each_names_its_field(server: Server, maker: Maker) -> None:
    good = maker.readings(2)
    no_check = {**maker.reading(), "item": "none"}
    no_envelope = {**maker.reading(), "kind": "No Kind"}
    answer = server.post([no_envelope, good[0], no_check, 5, {}, good[1]]).json()
    assert answer["stored"] == [entry["id"] for entry in good]
    assert [(refused["id"], refused["field"]) for refused in answer["refused"]] == [
        (no_envelope["id"], "kind"),
        (no_check["id"], "item"),
        (None, "entry"),
        (None, "v"),
    ]
    assert all(refused["why"] and refused["do"] for refused in answer["refused"])
    assert [record.entry for record in server.store.refused()] == [no_envelope, no_check, 5, {}]
    assert {record.device for record in server.store.refused()} == {server.node.id}


def test_a_refused_entry_that_was_settled_need_not_be_offered_again(server: Server, maker: Maker) -> None:
    bad = {**maker.reading(), "item": "none"}
    server.post([bad])
    server.store.settle(server.store.refused()[0].key)
    answer = server.post([bad]).json()
    assert (answer["settled"], answer["refused"], answer["stored"]) == ([bad["id"]], [], [])


def test_a_kind_or_item_nobody_knows_yet_is_stored(server: Server, maker: Maker) -> None:
    entry = {**maker.reading(), "kind": "hologram", "item": "of-tomorrow"}
    assert server.post([entry]).json()["stored"] == [entry["id"]]


def test_not_a_number_is_refused_by_the_field_it_is_in(server: Server, maker: Maker) -> None:
    entry = {**maker.reading(), "value": float("nan")}
    [refused] = server.post([entry]).json()["refused"]
    assert refused["field"] == "value"


def test_a_tablet_hands_in_entries_of_its_own_only_and_a_node_those_of_any(server: Server, clock: Clock) -> None:
    own, other = Maker(server.tablet.id, clock).reading(), Maker("tablet-2", clock).reading()
    answer = server.post([own, other], token=server.tablet_token).json()
    assert answer["stored"] == [own["id"]]
    assert [(refused["id"], refused["field"]) for refused in answer["refused"]] == [(other["id"], "device")]
    assert server.post([other]).json()["stored"] == [other["id"]]


def test_a_clock_more_than_366_days_ahead_is_refused(server: Server) -> None:
    good = Maker("tablet-1", Clock(MORNING + FAR_AHEAD_MS - 1000)).reading()
    wrong = Maker("tablet-1", Clock(MORNING + FAR_AHEAD_MS + 1000)).reading()
    answer = server.post([good, wrong]).json()
    assert answer["stored"] == [good["id"]]
    assert [refused["field"] for refused in answer["refused"]] == ["clock"]


NOT_BATCHES = {
    "nothing": b"",
    "no JSON": b"{",
    "no UTF-8": b'{"entries": ["\xff"]}',
    "a list": b"[]",
    "a number": b"5",
    "null": b"null",
    "no entries": b"{}",
    "entries that are no list": b'{"entries": {}}',
    "a batch of 501": json.dumps({"entries": [1] * 501}).encode(),
    "nested without end": b'{"entries": ' + b"[" * 100_000 + b"]" * 100_000 + b"}",
    "a number without end": b'{"entries": [' + b"9" * 10_000 + b"]}",
    "a head that is none": b'{"entries": [], "head": 5}',
}


@pytest.mark.parametrize("name", NOT_BATCHES)
def test_a_body_that_is_not_a_batch_is_answered_422_and_keeps_nothing(server: Server, name: str) -> None:
    answer = server.call("POST", "/sync/entries", content=NOT_BATCHES[name])
    assert answer.status_code == 422, answer.text
    assert set(answer.json()["error"]) == {"field", "why", "do"}
    assert server.store.refused() == []


def test_a_batch_of_500_is_taken_and_so_is_an_empty_one(server: Server, maker: Maker) -> None:
    assert len(server.post(maker.readings(500)).json()["stored"]) == 500
    assert server.post([]).json()["stored"] == []


def test_a_body_larger_than_2_mb_is_refused_packed_or_not(server: Server) -> None:
    large = b'{"entries": ["' + b"x" * border.BODY_MAX + b'"]}'
    _is_error(server.call("POST", "/sync/entries", content=large), 413, "body")
    packed = {"Content-Encoding": "gzip"}
    _is_error(server.call("POST", "/sync/entries", content=gzip.compress(large), headers=packed), 413, "body")
    _is_error(server.call("POST", "/sync/entries", content=_in_chunks(large)), 413, "body")


def _in_chunks(data: bytes) -> Iterator[bytes]:
    """A body whose length is not told beforehand."""
    yield from (data[start : start + 65536] for start in range(0, len(data), 65536))


def test_a_packed_body_is_unpacked(server: Server, maker: Maker) -> None:
    entries = maker.readings(3)
    body = gzip.compress(json.dumps({"entries": entries}).encode())
    answer = server.call("POST", "/sync/entries", content=body, headers={"Content-Encoding": "gzip"})
    assert len(answer.json()["stored"]) == 3


def test_a_body_in_another_encoding_or_badly_packed_is_refused(server: Server) -> None:
    body = gzip.compress(b'{"entries": []}')

    def send(content: bytes, encoding: str) -> httpx.Response:
        return server.call("POST", "/sync/entries", content=content, headers={"Content-Encoding": encoding})

    _is_error(send(body, "br"), 415, "Content-Encoding")
    _is_error(send(b"not gzip", "gzip"), 422, "body")
    _is_error(send(body[:-4], "gzip"), 422, "body")
    _is_error(send(body + body, "gzip"), 422, "body")


def test_a_body_that_does_not_come_to_its_end_is_given_up() -> None:
    async def never(_size: int = 0) -> dict[str, Any]:
        await asyncio.Event().wait()
        raise AssertionError

    request = border.Request({"type": "http", "headers": [], "method": "POST"}, never)
    with pytest.raises(border.BodyTooSlow):
        asyncio.run(border.read_body(request, seconds=0.01))


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("POST", "/sync/entries"),
        ("GET", "/sync/entries"),
        ("GET", "/sync/visits"),
        ("GET", "/sync/health"),
        ("PUT", "/sync/blobs/" + "0" * 64),
        ("GET", "/sync/blobs/" + "0" * 64),
    ],
)
def test_no_call_is_answered_without_a_token_somebody_knows(server: Server, method: str, path: str) -> None:
    for headers in (
        {},
        {"Authorization": "Bearer wrong"},
        {"Authorization": "Basic eDp5"},
        {"Authorization": "Bearer"},
    ):
        answer = server.client.request(method, path, headers=headers)
        _is_error(answer, 401, "Authorization")
        assert answer.headers["WWW-Authenticate"] == "Bearer"


def test_a_revoked_tablet_reads_nothing_and_what_it_hands_in_goes_to_the_drawer(server: Server, clock: Clock) -> None:
    own = Maker(server.tablet.id, clock).reading()
    server.devices.revoke(server.tablet.id)
    for path in ("/sync/entries", "/sync/visits", "/sync/health"):
        _is_error(server.call("GET", path, token=server.tablet_token), 403, "Authorization")
    answer = server.post([own], token=server.tablet_token).json()
    assert (answer["stored"], [refused["field"] for refused in answer["refused"]]) == ([], ["device"])
    assert [record.entry for record in server.store.refused()] == [own]
    server.devices.revoke(server.tablet.id, block=True)
    _is_error(server.post([own], token=server.tablet_token), 403, "Authorization")


def test_another_protocol_is_refused(server: Server) -> None:
    _is_error(server.call("GET", "/sync/health", headers={"Threemark-Protocol": "2"}), 400, "Threemark-Protocol")
    assert server.call("GET", "/sync/health", headers={"Threemark-Protocol": "1"}).status_code == 200


def test_the_feed_is_fetched_page_by_page(server: Server, maker: Maker) -> None:
    entries = maker.readings(5)
    server.store.add(entries)
    page = server.get("/sync/entries", limit=3)
    assert (page["entries"], page["more"]) == (entries[:3], True)
    assert page["head"]["position"] == 5
    rest = server.get("/sync/entries", limit=3, after=page["cursor"])
    assert (rest["entries"], rest["more"]) == (entries[3:], False)
    assert server.get("/sync/entries", after=rest["cursor"])["entries"] == []


def test_one_visit_is_fetched_alone(server: Server, maker: Maker) -> None:
    mine = maker.readings(2)
    server.store.add([*mine, *maker.readings(2, visit=maker.stamper.new_id())])
    assert server.get("/sync/entries", visit=maker.visit)["entries"] == mine
    assert server.get("/sync/entries", visit=maker.stamper.new_id())["entries"] == []


@pytest.mark.parametrize("query", ["after=nonsense", "after=", "limit=0", "limit=501", "limit=x", "after=" + "a" * 200])
def test_a_senseless_page_is_refused_by_name(server: Server, query: str) -> None:
    for path in ("/sync/entries", "/sync/visits"):
        answer = server.call("GET", f"{path}?{query}")
        _is_error(answer, 400, query.split("=")[0])


def test_the_list_of_visits_gives_count_digest_and_state(server: Server, maker: Maker) -> None:
    other = maker.stamper.new_id()
    mine, theirs = maker.readings(2), maker.readings(1, visit=other)
    server.store.add([*mine, *theirs])
    page = server.get("/sync/visits")
    assert page["visits"] == [
        {"visit": maker.visit, "entries": 2, "digest": seal.digest(mine), "state": "open", "backed_up": False},
        {"visit": other, "entries": 1, "digest": seal.digest(theirs), "state": "open", "backed_up": False},
    ]
    assert (page["more"], page["head"]["position"]) == (False, 3)
    assert server.get("/sync/visits", after=page["cursor"])["visits"] == []
    done = {**maker.reading(), "kind": "outcome"}
    server.store.add([done])
    [card] = server.get("/sync/visits", after=page["cursor"])["visits"]
    assert (card["entries"], card["digest"], card["state"]) == (3, seal.digest([*mine, done]), "finished")


def test_one_visit_of_the_list_can_be_asked_for(server: Server, maker: Maker) -> None:
    nothing = {"visit": maker.visit, "entries": 0, "digest": seal.digest([]), "state": "open", "backed_up": False}
    assert server.get(f"/sync/visits/{maker.visit}") == nothing
    entries = maker.readings(2)
    server.store.add(entries)
    card = server.get(f"/sync/visits/{maker.visit}")
    assert (card["entries"], card["digest"]) == (2, seal.digest(entries))


def test_a_tablet_erases_nothing_and_a_node_hands_erasures_on(server: Server, maker: Maker) -> None:
    entry = maker.reading()
    server.store.add([entry])
    own = erased.make(Maker(server.tablet.id).stamper, entry, "to hide it", "staff-1")
    [refused] = server.post([own], token=server.tablet_token).json()["refused"]
    assert (refused["field"], refused["why"]) == ("kind", "a tablet erases nothing")
    assert server.store.visit(maker.visit) == [entry]
    assert server.post([own]).json()["stored"] == [own["id"]]
    assert server.store.visit(maker.visit)[0]["value"] != entry["value"]


def test_health_tells_how_the_store_is_and_whom_it_takes_the_caller_for(server: Server, maker: Maker) -> None:
    server.post([maker.reading(), 5])
    health = server.get("/sync/health")
    assert (health["status"], health["protocol"], health["damaged"], health["refused"]) == ("ok", 1, 0, 1)
    assert health["head"]["position"] == 1
    assert health["device"] == server.node.id


def test_a_blob_is_kept_under_its_digest_and_given_back(server: Server) -> None:
    data = bytes(range(256)) * 100
    path = f"/sync/blobs/{hashlib.sha256(data).hexdigest()}"
    _is_error(server.call("GET", path), 404, "sha256")
    for _ in range(2):
        assert server.call("PUT", path, content=data).status_code == 204
    answer = server.call("GET", path)
    assert answer.content == data
    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_a_blob_under_a_wrong_name_or_larger_than_2_mb_is_refused(server: Server, tmp_path: Path) -> None:
    data = b"x" * (2 * 1024 * 1024 + 1)
    _is_error(server.call("PUT", f"/sync/blobs/{hashlib.sha256(data).hexdigest()}", content=data), 413, "body")
    for name in ("0" * 64, "x", "A" * 64, "..%2Fdevices.json"):
        answer = server.call("PUT", f"/sync/blobs/{name}", content=b"y")
        assert answer.status_code in (400, 404, 422)
    assert list((tmp_path / "blobs").iterdir()) == []


def test_a_blob_damaged_on_disk_is_not_given_out_and_is_mended_when_it_comes_again(
    server: Server, tmp_path: Path
) -> None:
    name = hashlib.sha256(b"data").hexdigest()
    server.call("PUT", f"/sync/blobs/{name}", content=b"data")
    (tmp_path / "blobs" / name).write_bytes(b"dat4")
    _is_error(server.call("GET", f"/sync/blobs/{name}"), 422, "sha256")
    server.call("PUT", f"/sync/blobs/{name}", content=b"data")
    assert server.call("GET", f"/sync/blobs/{name}").content == b"data"


def test_a_store_that_cannot_write_acknowledges_nothing(
    server: Server, maker: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_entries: object, **_how: object) -> Added:
        raise StoreFull("entries.jsonl could not be written: No space left on device.")

    monkeypatch.setattr(server.store, "add", full)
    answer = server.post(maker.readings(1))
    _is_error(answer, 503, "")
    assert "stored" not in answer.json()


def test_the_senders_head_is_kept_for_comparison(server: Server) -> None:
    head = {"epoch": "e", "position": 7, "hash": "0" * 64}
    body = json.dumps({"entries": [], "head": head}).encode()
    assert server.call("POST", "/sync/entries", content=body).status_code == 200
    assert server.store.kept(f"head of {server.node.id}") == head


def test_openapi_describes_every_call_and_its_token(server: Server) -> None:
    document = server.client.get("/openapi.json").json()
    visits = {"/sync/visits", "/sync/visits/{visit}"}
    assert set(document["paths"]) == {"/sync/entries", *visits, "/sync/health", "/sync/blobs/{sha256}"}
    for path in document["paths"].values():
        for call in path.values():
            assert call["security"] == [{"HTTPBearer": []}]
            assert "4XX" in call["responses"]
    schema = document["paths"]["/sync/entries"]["post"]["requestBody"]["content"]["application/json"]["schema"]
    assert schema["properties"]["entries"]["maxItems"] == 500
    assert set(document["components"]["schemas"]) >= {"HeadModel", "Answer", "ErrorAnswer"}


def test_an_address_or_method_that_does_not_exist_is_answered_in_the_same_shape(server: Server) -> None:
    _is_error(server.call("GET", "/sync/nothing"), 404, "")
    _is_error(server.call("DELETE", "/sync/entries"), 405, "")
    assert server.call("GET", "/elsewhere").json() == {"detail": "Not Found"}
