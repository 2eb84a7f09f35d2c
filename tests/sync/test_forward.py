"""The hop from a chair node to the clinic: both real, in one process, with a wire that can be cut."""

import asyncio
import gzip
import json
import shutil
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from sync import seal
from sync.access import FileDevices
from sync.border import BODY_MAX
from sync.entry import Entry, Refusal
from sync.errors import HopError, StoreBroken
from sync.forward import OFFER_AGAIN_MS, UPSTREAM, Forward
from sync.routes import routes
from sync.sql_store import SqlStore
from sync.store import Store
from sync.tiny_store import TinyStore
from tests.sync.conftest import Clock, Maker

URL = "http://clinic.invalid"


class Wire(httpx.AsyncBaseTransport):
    """Carries requests to an app; cut before a request (`down`), or after so many answers were lost or given."""

    def __init__(self) -> None:
        self.app: FastAPI | None = None
        self.down = False
        self.cut_after: int | None = None
        self.lose_answers = False
        self.asked: list[tuple[str, str, bytes]] = []
        self.answer: httpx.Response | None = None

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        if self.cut_after is not None and self.cut_after <= 0:
            self.down = True
        if self.down or self.app is None:
            raise httpx.ConnectError("Connection refused")
        if self.cut_after is not None:
            self.cut_after -= 1
        self.asked.append((request.method, request.url.path, await request.aread()))
        if self.answer:
            return self.answer
        answer = await httpx.ASGITransport(self.app).handle_async_request(request)
        if self.lose_answers:
            raise httpx.ReadTimeout("timed out")
        return answer

    def mend(self) -> None:
        self.down, self.cut_after, self.lose_answers, self.answer = False, None, False, None
        self.asked.clear()

    @property
    def bodies(self) -> list[dict[str, Any]]:
        return [json.loads(body) for method, _, body in self.asked if method == "POST"]

    @property
    def sent(self) -> list[str]:
        return [entry["id"] for body in self.bodies for entry in body["entries"]]


class Clinic:
    """A clinic server over an SQLite store that can be replaced by another or by an older one."""

    def __init__(self, folder: Path, clock: Clock) -> None:
        self.folder = folder
        self.clock = clock
        self.wire = Wire()
        self.devices = FileDevices(folder / "devices.json")
        self.refuse: set[str] = set()
        self.states: dict[str, str] = {}
        self.open("clinic.sqlite")

    def open(self, name: str) -> None:
        self.store = SqlStore(f"sqlite:///{self.folder}/{name}", now=self.clock)
        app = FastAPI()
        app.include_router(routes(self.store, self.devices, self._check, state=self._state, now=self.clock))
        self.wire.app = app

    def node(self, store: Store, **how: Any) -> Forward:
        _, token = self.devices.add("node", "Bag", "M")
        return Forward(store, URL, token, client=httpx.AsyncClient(transport=self.wire), now=self.clock, **how)

    @property
    def feed(self) -> list[Entry]:
        return self.store.since(None, 100_000).entries

    def _check(self, entry: Entry) -> Refusal | None:
        return Refusal("item", "there is no such item") if entry["id"] in self.refuse else None

    def _state(self, entries: list[Entry]) -> str:
        return self.states.get(entries[0]["visit"], "open")


@pytest.fixture
def clinic(tmp_path: Path, clock: Clock) -> Iterator[Clinic]:
    clinic = Clinic(tmp_path, clock)
    yield clinic
    clinic.store.close()


@pytest.fixture
def chair(tmp_path: Path, clock: Clock) -> Iterator[TinyStore]:
    store = TinyStore(tmp_path / "chair", now=clock)
    yield store
    store.close()


def _once(*nodes: Forward) -> None:
    async def rounds() -> None:
        for node in nodes:
            await node.once()

    asyncio.run(rounds())


def _fails(node: Forward) -> HopError:
    with pytest.raises(HopError) as failed:
        _once(node)
    return failed.value


def test_everything_arrives_once_and_is_sent_once(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    entries = maker.readings(1_200)
    chair.add(entries)
    node = clinic.node(chair)
    assert node.status()["pending"] == 1_200
    _once(node, node)
    assert clinic.feed == entries
    assert clinic.wire.sent == [entry["id"] for entry in entries]
    assert [len(body["entries"]) for body in clinic.wire.bodies] == [500, 500, 200]
    assert [body["waiting"] for body in clinic.wire.bodies] == [700, 200, 0]
    status = node.status()
    assert (status["online"], status["pending"], status["refused"]) == (True, 0, 0)
    assert (status["last_error"], status["alarm"]) == (None, None)
    assert status["last_sent"].endswith("Z")


@pytest.mark.parametrize("answers", [0, 1, 2, 3])
def test_a_clinic_that_goes_away_in_the_middle_gets_the_rest_later_and_each_entry_once(
    clinic: Clinic, chair: TinyStore, maker: Maker, answers: int
) -> None:
    entries = maker.readings(1_700)
    chair.add(entries)
    node = clinic.node(chair)
    clinic.wire.cut_after = answers
    assert str(_fails(node)) == "The clinic server cannot be reached."
    status = node.status()
    assert (status["online"], status["pending"]) == (False, 1_700 - 500 * answers)
    assert status["last_error"] == "The clinic server cannot be reached."
    clinic.wire.mend()
    _once(node)
    assert clinic.feed == entries
    assert clinic.wire.sent == [entry["id"] for entry in entries[500 * answers :]]


def test_a_clinic_that_stores_and_dies_before_it_answers_gets_nothing_twice(
    clinic: Clinic, chair: TinyStore, maker: Maker
) -> None:
    entries = maker.readings(3)
    chair.add(entries)
    node = clinic.node(chair)
    clinic.wire.lose_answers = True
    _fails(node)
    assert clinic.feed == entries
    assert node.status()["pending"] == 3
    clinic.wire.mend()
    _once(node)
    assert clinic.feed == entries
    assert node.status()["pending"] == 0


def test_a_node_that_is_restarted_goes_on_after_what_was_acknowledged(
    clinic: Clinic, tmp_path: Path, maker: Maker
) -> None:
    first = TinyStore(tmp_path / "chair")
    entries = maker.readings(700)
    first.add(entries)
    clinic.wire.cut_after = 1
    _fails(clinic.node(first))
    first.close()
    clinic.wire.mend()
    second = TinyStore(tmp_path / "chair")
    _once(clinic.node(second))
    assert clinic.feed == entries
    assert clinic.wire.sent == [entry["id"] for entry in entries[500:]]
    second.close()


def test_two_chairs_converge_through_the_clinic(clinic: Clinic, chair: TinyStore, tmp_path: Path, clock: Clock) -> None:
    other = TinyStore(tmp_path / "other", now=clock)
    one, two = Maker("tablet-1", clock), Maker("tablet-2", clock)
    first, second = clinic.node(chair), clinic.node(other)
    chair.add(one.readings(3))
    other.add(two.readings(4, visit=one.visit))
    other.add(two.readings(2))
    _once(first, second, first)
    chair.add(one.readings(2, visit=two.visit))
    _once(first, second)
    for visit, count in ((one.visit, 7), (two.visit, 4)):
        assert len(chair.visit(visit)) == count
        assert chair.visit(visit) == other.visit(visit) == clinic.store.visit(visit)
        assert seal.digest(chair.visit(visit)) == seal.digest(clinic.store.visit(visit))
    assert first.status()["pending"] == second.status()["pending"] == 0
    other.close()


def test_what_was_fetched_from_the_clinic_is_not_sent_back_to_it(
    clinic: Clinic, chair: TinyStore, maker: Maker
) -> None:
    clinic.store.add(maker.readings(4))
    own = maker.reading()
    node = clinic.node(chair)
    _once(node)
    chair.add([own])
    _once(node)
    assert chair.visit(maker.visit) == clinic.store.visit(maker.visit)
    assert clinic.wire.sent == [own["id"]]


def test_a_visit_that_agrees_is_not_fetched_again(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    chair.add(maker.readings(4))
    node = clinic.node(chair)
    _once(node, node, node)
    assert [path for method, path, _ in clinic.wire.asked if method == "GET"] == ["/sync/visits"] * 3


def test_a_finished_visit_is_fetched_only_by_a_node_that_holds_part_of_it(
    clinic: Clinic, chair: TinyStore, maker: Maker
) -> None:
    finished, held = maker.stamper.new_id(), maker.stamper.new_id()
    clinic.states = {finished: "finished", held: "finished"}
    own = maker.reading(visit=held)
    chair.add([own])
    clinic.store.add([*maker.readings(2, visit=finished), *maker.readings(2, visit=held)])
    _once(clinic.node(chair))
    assert chair.visit(finished) == []
    assert chair.visit(held) == clinic.store.visit(held)


def test_a_large_visit_is_fetched_page_by_page(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    clinic.store.add(maker.readings(1_100))
    _once(clinic.node(chair))
    assert chair.visit(maker.visit) == clinic.store.visit(maker.visit)
    assert [path for _, path, _ in clinic.wire.asked].count("/sync/entries") == 3


def test_a_refused_entry_blocks_nothing_and_is_offered_daily_until_it_is_stored(
    clinic: Clinic, chair: TinyStore, maker: Maker, clock: Clock
) -> None:
    bad, good = maker.readings(2)
    clinic.refuse = {bad["id"]}
    chair.add([bad, good])
    node = clinic.node(chair)
    _once(node)
    assert clinic.feed == [good]
    assert (node.status()["refused"], node.status()["pending"]) == (1, 0)
    clinic.wire.mend()
    clock.now += OFFER_AGAIN_MS - 1
    _once(node)
    assert clinic.wire.sent == []
    clock.now += 1
    _once(clinic.node(chair))
    assert clinic.wire.sent == [bad["id"]]
    clinic.refuse = set()
    clock.now += OFFER_AGAIN_MS
    last = clinic.node(chair)
    assert last.status()["refused"] == 1
    _once(last)
    assert clinic.feed == [good, bad]
    assert last.status()["refused"] == 0
    assert chair.visit(maker.visit) == [bad, good]


def test_a_refused_entry_the_manager_has_settled_is_not_offered_again(
    clinic: Clinic, chair: TinyStore, maker: Maker, clock: Clock
) -> None:
    bad = maker.reading()
    clinic.refuse = {bad["id"]}
    chair.add([bad])
    node = clinic.node(chair)
    _once(node)
    clinic.store.settle(clinic.store.refused()[0].key)
    for _ in range(2):
        clinic.wire.mend()
        clock.now += OFFER_AGAIN_MS
        _once(node)
    assert clinic.wire.sent == []
    assert node.status()["refused"] == 0


def test_a_clinic_with_another_store_is_offered_everything_again_also_what_came_from_it(
    clinic: Clinic, chair: TinyStore, maker: Maker
) -> None:
    fetched, own = maker.readings(2), maker.readings(3)
    clinic.store.add(fetched)
    chair.add(own)
    node = clinic.node(chair)
    _once(node)
    clinic.store.close()
    clinic.open("another.sqlite")
    _once(node)
    assert sorted(entry["id"] for entry in clinic.feed) == sorted(entry["id"] for entry in [*own, *fetched])
    assert "another one" in node.status()["alarm"]
    assert node.status()["pending"] == 0


def test_a_clinic_put_back_to_an_older_state_is_noticed_and_offered_what_it_lost(
    clinic: Clinic, chair: TinyStore, maker: Maker, tmp_path: Path
) -> None:
    entries = maker.readings(5)
    chair.add(entries[:2])
    node = clinic.node(chair)
    _once(node)
    clinic.store.close()
    shutil.copy(tmp_path / "clinic.sqlite", tmp_path / "older.sqlite")
    clinic.open("clinic.sqlite")
    chair.add(entries[2:])
    _once(node)
    clinic.store.close()
    clinic.open("older.sqlite")
    assert clinic.feed == entries[:2]
    _once(node)
    assert clinic.feed == entries
    assert "has lost entries" in node.status()["alarm"]
    again = clinic.node(chair)
    assert "has lost entries" in again.status()["alarm"]


def test_a_clinic_whose_chain_was_rewritten_is_noticed(
    clinic: Clinic, chair: TinyStore, maker: Maker, tmp_path: Path
) -> None:
    entries = maker.readings(2)
    chair.add(entries)
    node = clinic.node(chair)
    _once(node)
    with clinic.store.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql("UPDATE head SET hash = '" + "0" * 64 + "'")
    _once(node)
    assert "was changed" in node.status()["alarm"]


def test_a_node_put_back_to_an_older_state_fetches_what_it_lost(clinic: Clinic, tmp_path: Path, maker: Maker) -> None:
    store = TinyStore(tmp_path / "chair")
    entries = maker.readings(4)
    store.add(entries[:2])
    node = clinic.node(store)
    _once(node)
    older = (tmp_path / "chair" / "entries.jsonl").read_bytes()
    store.add(entries[2:])
    _once(node)
    store.close()
    (tmp_path / "chair" / "entries.jsonl").write_bytes(older)
    store = TinyStore(tmp_path / "chair")
    assert len(store.visit(maker.visit)) == 2
    _once(clinic.node(store))
    assert store.visit(maker.visit) == entries
    assert clinic.feed == entries
    store.close()


def test_an_entry_damaged_on_the_nodes_disk_is_fetched_back_from_the_clinic(
    clinic: Clinic, tmp_path: Path, maker: Maker
) -> None:
    store = TinyStore(tmp_path / "chair")
    entries = maker.readings(3)
    for entry in entries:
        store.add([entry])
    _once(clinic.node(store))
    store.close()
    journal = tmp_path / "chair" / "entries.jsonl"
    journal.write_bytes(journal.read_bytes().replace(entries[1]["id"].encode(), b"x" * 36))
    store = TinyStore(tmp_path / "chair")
    assert store.visit(maker.visit) == [entries[0], entries[2]]
    _once(clinic.node(store))
    assert store.visit(maker.visit) == entries
    assert clinic.feed == entries
    store.close()


@pytest.mark.parametrize(
    "answer",
    [
        httpx.Response(200, text="<html>Welcome to the hotel</html>"),
        httpx.Response(200, json={}),
        httpx.Response(200, json={"stored": [], "refused": [], "settled": [], "head": None, "epoch": "a"}),
        httpx.Response(302, headers={"Location": "https://elsewhere.invalid/"}),
        httpx.Response(401, json={"error": {"field": "", "why": "Nobody here knows this device token.", "do": ""}}),
        httpx.Response(500, text="oops"),
        httpx.Response(503, json=["oops"]),
    ],
    ids=lambda answer: f"{answer.status_code} {answer.text[:20]}",
)
def test_an_answer_that_is_not_a_clinics_moves_nothing(
    clinic: Clinic, chair: TinyStore, maker: Maker, answer: httpx.Response
) -> None:
    entries = maker.readings(2)
    chair.add(entries)
    node = clinic.node(chair)
    clinic.wire.answer = answer
    failed = str(_fails(node))
    assert answer.status_code == 200 or str(answer.status_code) in failed
    assert answer.status_code != 401 or "Nobody here knows" in failed
    assert node.status()["pending"] == 2
    clinic.wire.mend()
    _once(node)
    assert clinic.feed == entries


def test_an_answer_that_is_silent_about_an_entry_moves_nothing(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    entries = maker.readings(2)
    chair.add(entries)
    head = {"epoch": "a", "position": 1, "hash": ""}
    told = {"stored": [entries[0]["id"]], "refused": [], "settled": [], "head": head, "epoch": "a"}
    clinic.wire.answer = httpx.Response(200, json=told)
    node = clinic.node(chair)
    assert "did not say what became of 1" in str(_fails(node))
    assert node.status()["pending"] == 2


def test_a_fetched_entry_that_is_none_goes_to_the_drawer(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    good = maker.reading()
    far = {**maker.reading(), "clock": [2**48 - 1, 0]}
    clinic.store.add([good, far, {**maker.reading(), "kind": "Wrong Kind"}])
    node = clinic.node(chair)
    _once(node)
    assert chair.visit(maker.visit) == [good]
    assert [record.refusal.field for record in chair.refused()] == ["clock", "kind"]
    assert {record.device for record in chair.refused()} == {UPSTREAM}


def test_no_body_is_larger_than_a_call_may_be(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    entries = [maker.reading(value="x" * 15_000) for _ in range(300)]
    chair.add(entries)
    _once(clinic.node(chair))
    assert clinic.feed == entries
    assert len(clinic.wire.bodies) == 3
    assert max(len(body) for _, _, body in clinic.wire.asked) <= BODY_MAX


def test_bodies_may_be_packed(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    entries = maker.readings(50)
    chair.add(entries)
    _once(clinic.node(chair, compress=True))
    assert clinic.feed == entries
    packed = clinic.wire.asked[0][2]
    assert len(packed) < len(gzip.decompress(packed)) / 5


def test_unpacked_bodies_are_at_most_1_1_times_the_entries(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    entries = maker.readings(500)
    chair.add(entries)
    _once(clinic.node(chair))
    raw = sum(len(json.dumps(entry, separators=(",", ":"))) for entry in entries)
    assert len(clinic.wire.asked[0][2]) <= 1.1 * raw


class Waits:
    """Stands in for waiting: notes how long was asked for and goes on at once, until it has seen enough."""

    def __init__(self, enough: int) -> None:
        self.seconds: list[float] = []
        self.done = asyncio.Event()
        self._enough = enough

    async def __call__(self, _event: asyncio.Event, seconds: float) -> None:
        self.seconds.append(seconds)
        if len(self.seconds) >= self._enough:
            self.done.set()
            await asyncio.Event().wait()
        await asyncio.sleep(0)


def _running(node: Forward, until: Callable[[], Awaitable[object]]) -> None:
    async def run() -> None:
        node.start()
        async with asyncio.timeout(20):
            await until()
        await node.stop()

    asyncio.run(run())


@pytest.mark.parametrize("chance", [0.0, 0.5, 1.0])
def test_a_clinic_that_is_down_is_tried_every_1_to_30_seconds_less_and_less_often(
    clinic: Clinic, chair: TinyStore, chance: float
) -> None:
    clinic.wire.down = True
    waits = Waits(20)
    _running(clinic.node(chair, wait=waits, chance=lambda: chance), waits.done.wait)
    pairs = zip(waits.seconds[::2], waits.seconds[1::2], strict=True)
    pauses = [shortest + rest for shortest, rest in pairs]
    assert all(1 <= pause <= 30 for pause in pauses)
    assert pauses == sorted(pauses)
    assert pauses[-1] == 30 * (0.5 + chance / 2)
    assert len(set(pauses)) >= 4


def test_after_a_success_the_pauses_begin_anew(clinic: Clinic, chair: TinyStore) -> None:
    clinic.wire.down = True
    waits = Waits(14)

    async def mend_and_break() -> None:
        while len(waits.seconds) < 9:
            await asyncio.sleep(0)
        clinic.wire.down = False
        await waits.done.wait()

    node = clinic.node(chair, wait=waits, chance=lambda: 1.0, poll=5.0)
    _running(node, mend_and_break)
    assert waits.seconds[-1] == 5.0 * 1.25
    assert node.status()["online"]


def test_new_entries_are_sent_at_once_not_at_the_next_look(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    entries = maker.readings(3)

    async def add_and_see() -> None:
        for entry in entries:
            arrived = asyncio.Event()
            loop = asyncio.get_running_loop()
            stop = clinic.store.listen(lambda loop=loop, arrived=arrived: loop.call_soon_threadsafe(arrived.set))
            await asyncio.to_thread(chair.add, [entry])
            await arrived.wait()
            stop()

    _running(clinic.node(chair, poll=3_600), add_and_see)
    assert clinic.feed == entries


def test_a_hop_stopped_at_any_moment_goes_on_where_it_was(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    entries = maker.readings(1_200)
    chair.add(entries)
    for asked in (1, 1, 2):
        clinic.wire.mend()

        async def until_asked(asked: int = asked) -> None:
            while len(clinic.wire.asked) < asked:
                await asyncio.sleep(0)

        _running(clinic.node(chair), until_asked)
    _once(clinic.node(chair))
    assert clinic.feed == entries


def test_a_hop_that_broke_down_says_so_on_the_lamp(
    clinic: Clinic, chair: TinyStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    node = clinic.node(chair)
    clinic.wire.answer = httpx.Response(200, json={})

    async def broken(*_args: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(clinic.wire, "handle_async_request", broken)

    async def until_it_ended() -> None:
        while not node.status()["last_error"]:
            await asyncio.sleep(0)

    _running(node, until_it_ended)
    assert node.status()["last_error"] == "The hop stopped (ZeroDivisionError); start the node again."
    assert not node.status()["online"]


def test_a_failure_of_the_nodes_own_store_is_told_and_tried_again(
    clinic: Clinic, chair: TinyStore, maker: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    clinic.store.add(maker.readings(1))
    node = clinic.node(chair)

    def broken(*_args: object, **_named: object) -> None:
        raise StoreBroken("entries.jsonl: the disk did not confirm a write (Input/output error).")

    with monkeypatch.context() as patch:
        patch.setattr(chair, "add", broken)
        with pytest.raises(StoreBroken):
            _once(node)
    assert "did not confirm" in node.status()["last_error"]
    _once(node)
    assert chair.visit(maker.visit) == clinic.store.visit(maker.visit)
    assert node.status()["last_error"] is None
