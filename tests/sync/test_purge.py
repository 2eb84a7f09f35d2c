"""A node lets go only of what is finished, old, and in the clinic's verified backup; its chain holds all the same."""

import asyncio
import random
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI

from sync import erased, seal
from sync.access import FileDevices
from sync.backup import remember, write_backup
from sync.desk import Desk
from sync.entry import Entry
from sync.errors import StoreBroken, StoreFull
from sync.forward import Forward
from sync.purge import DAY_MS, Purge
from sync.routes import routes
from sync.sql_store import SqlStore
from sync.tiny_store import TinyStore
from tests.sync.conftest import Clock, Maker
from tests.sync.sim.disk import Gone, ModelDisk, enospc

NODE = Path("/bag/node")


def _state(entries: list[Entry]) -> str:
    return "finished" if any(entry["kind"] == "outcome" for entry in entries) else "open"


class Pair:
    """A chair node that hands on to a clinic; both in this process."""

    def __init__(self, folder: Path, clock: Clock) -> None:
        self.folder = folder
        self.clock = clock
        self.chair = TinyStore(folder / "chair", now=clock)
        self.clinic = SqlStore(f"sqlite:///{folder}/clinic.sqlite", now=clock)
        devices = FileDevices(folder / "devices.json")
        app = FastAPI()
        app.include_router(routes(self.clinic, devices, state=_state, now=clock))
        _, token = devices.add("node", "Bag", "")
        client = httpx.AsyncClient(transport=httpx.ASGITransport(app))
        self.forward = Forward(self.chair, "http://clinic.invalid", token, client=client, now=clock)

    def hand_on(self) -> None:
        asyncio.run(self.forward.once())

    def back_up(self) -> None:
        remember(self.clinic, write_backup(self.clinic, self.folder / "clinic.backup", devices=[]))

    def purge(self, days: int = 30) -> int:
        purge = Purge(self.chair, _state, days, self.clock)
        asyncio.run(self.forward.converse(purge.round()))
        return purge.purged

    def finished(self, maker: Maker) -> str:
        visit = maker.stamper.new_id()
        self.chair.add([*maker.readings(2, visit=visit), {**maker.reading(visit=visit), "kind": "outcome"}])
        return visit


@pytest.fixture
def pair(tmp_path: Path, clock: Clock) -> Iterator[Pair]:
    pair = Pair(tmp_path, clock)
    yield pair
    pair.chair.close()
    pair.clinic.close()


def test_a_finished_old_visit_in_the_backup_goes_and_the_clinic_keeps_it(pair: Pair, maker: Maker) -> None:
    visit = pair.finished(maker)
    entries = pair.chair.visit(visit)
    pair.hand_on()
    pair.back_up()
    pair.clock.now += 31 * DAY_MS
    assert pair.purge() == 3
    assert pair.chair.visit(visit) == []
    assert pair.chair.touched(visit) is None
    assert pair.clinic.visit(visit) == entries
    pair.hand_on()
    assert pair.chair.visit(visit) == []


@pytest.mark.parametrize(
    "why", ["not finished", "not old", "not backed up", "touched since the backup", "not handed on"]
)
def test_nothing_else_goes(pair: Pair, maker: Maker, why: str) -> None:
    visit = pair.finished(maker)
    if why == "not finished":
        visit = maker.visit
        pair.chair.add(maker.readings(2))
    if why != "not handed on":
        pair.hand_on()
    if why != "not backed up":
        pair.back_up()
    pair.clock.now += (30 if why == "not old" else 31) * DAY_MS
    if why == "touched since the backup":
        pair.chair.add([maker.reading(visit=visit)])
        pair.clock.now += 31 * DAY_MS
        pair.hand_on()
    held = pair.chair.visit(visit)
    pair.purge()
    assert pair.chair.visit(visit) == held


def test_a_visit_of_which_the_clinic_holds_other_entries_stays(pair: Pair, maker: Maker) -> None:
    visit = pair.finished(maker)
    pair.hand_on()
    pair.clinic.add([Maker("tablet-2", pair.clock).reading(visit=visit)])
    pair.back_up()
    pair.clock.now += 31 * DAY_MS
    assert pair.purge() == 0
    pair.hand_on()
    pair.clock.now += 31 * DAY_MS
    assert pair.purge() == 4


def test_a_clinic_restored_since_the_backup_lets_nothing_go(pair: Pair, maker: Maker) -> None:
    pair.finished(maker)
    pair.hand_on()
    pair.back_up()
    pair.clinic.keep("backed up", {**pair.clinic.kept("backed up"), "epoch": "another"})
    pair.clock.now += 31 * DAY_MS
    assert pair.purge() == 0


def test_tablets_of_the_node_are_told_which_visits_are_in_the_backup(pair: Pair, maker: Maker) -> None:
    visit = pair.finished(maker)
    pair.chair.add(maker.readings(2))
    pair.hand_on()
    assert _backed_up(pair.chair) == _backed_up(pair.clinic) == {visit: False, maker.visit: False}
    pair.back_up()
    pair.purge()
    assert _backed_up(pair.clinic) == {visit: True, maker.visit: True}
    assert _backed_up(pair.chair) == {visit: True, maker.visit: False}
    pair.chair.add([maker.reading(visit=visit)])
    assert _backed_up(pair.chair)[visit] is False


def test_an_entry_that_comes_while_the_clinic_is_asked_keeps_its_visit(pair: Pair, maker: Maker) -> None:
    visit = pair.finished(maker)
    pair.hand_on()
    pair.back_up()
    pair.clock.now += 31 * DAY_MS
    steps = Purge(pair.chair, _state, 30, pair.clock).round()
    assert next(steps).path == f"/sync/visits/{visit}"
    answer = Desk(pair.clinic, state=_state).visit(visit)
    assert answer.backed_up
    pair.chair.add([maker.reading(visit=visit)])
    with pytest.raises(StopIteration):
        steps.send(answer)
    assert len(pair.chair.visit(visit)) == 4


def test_the_chain_holds_after_a_purge_and_its_head_and_positions_are_what_they_were(
    tmp_path: Path, maker: Maker
) -> None:
    store, visits = _interleaved(TinyStore(tmp_path), maker)
    head = store.head()
    hashes = [store.hash_at(position) for position in range(head.position + 1)]
    feed = store.since(None, 100).entries
    for gone in (visits[1:2], visits[:2], [*visits[:2], visits[3]]):
        store.purge(gone)
        for _ in range(2):
            assert store.head() == head
            assert seal.verify_store(store) is None
            assert store.since(None, 100).entries == [entry for entry in feed if entry["visit"] not in gone]
            cut = store.cut().position
            assert [store.hash_at(position) for position in range(cut, 13)] == hashes[cut:]
            store.close()
            store = TinyStore(tmp_path)
    assert store.add([feed[2]]).new == []
    store.add(maker.readings(2))
    assert store.head().position == head.position + 2
    assert seal.verify_store(store) is None
    store.close()


def test_the_beginning_of_the_chain_goes_when_all_of_it_was_purged(tmp_path: Path, maker: Maker) -> None:
    store, visits = _interleaved(TinyStore(tmp_path), maker)
    size = (tmp_path / "entries.jsonl").stat().st_size
    at_four = store.hash_at(4)
    store.purge(visits[1:2])
    assert store.cut().position == 0
    store.purge(visits[:1])
    assert store.cut().position == 2
    store.purge([visits[2], visits[3]])
    assert (store.cut().position, store.cut().hash) == (12, store.head().hash)
    assert store.hash_at(4) == ""
    assert at_four
    assert seal.verify_store(store) is None
    store.close()
    assert (tmp_path / "entries.jsonl").stat().st_size < size / 8
    store = TinyStore(tmp_path)
    assert seal.verify_store(store) is None
    assert store.add(maker.readings(1)).new
    assert store.head().position == 13
    store.close()


def test_any_leaf_changed_in_the_file_is_found(tmp_path: Path, maker: Maker) -> None:
    store, visits = _interleaved(TinyStore(tmp_path), maker)
    store.purge(visits[1:2])
    links, head = list(store.links()), store.head()
    for number, link in enumerate(links):
        if link.leaf:
            forged = [*links[:number], link._replace(leaf=bytes(32)), *links[number + 1 :]]
            assert seal.verify(head.epoch, forged, head.position, head.hash, store.cut()) is not None
            assert (
                seal.verify(head.epoch, links[:number] + links[number + 1 :], head.position, head.hash, store.cut())
                is not None
            )
    store.close()


def test_an_erased_value_purged_with_its_visit_leaves_the_chain_whole(tmp_path: Path, maker: Maker) -> None:
    store, visits = _interleaved(TinyStore(tmp_path), maker)
    store.add([erased.make(maker.stamper, store.visit(visits[1])[1], "asked to", "mgr-1")])
    store.purge(visits[1:2])
    assert seal.verify_store(store) is None
    assert store.erasures() == {}
    store.close()
    store = TinyStore(tmp_path)
    assert seal.verify_store(store) is None
    store.close()


def test_a_node_that_dies_at_any_step_of_a_purge_has_all_of_it_or_none(maker: Maker) -> None:
    gone = [Maker(f"tablet-{number}").readings(3) for number in range(4)]
    ends = set()
    for die_at in range(1, 40):
        for power in (False, True):
            disk = ModelDisk(random.Random(die_at))
            store = TinyStore(NODE, disk=disk, now=Clock())
            for entries in gone:
                store.add(entries)
            visits = [entries[0]["visit"] for entries in gone[:2]]
            disk.die_at = disk.steps + die_at
            try:
                store.purge(visits)
                ends.add("done")
            except Gone:
                ends.add("died")
            disk.restart(power=power)
            store = TinyStore(NODE, disk=disk, now=Clock())
            assert len(store.since().entries) in (6, 12)
            assert seal.verify_store(store) is None
            assert not store.damaged
            store.close()
    assert ends == {"done", "died"}


def test_on_a_full_disk_nothing_is_purged_and_entries_are_taken_as_before(maker: Maker) -> None:
    disk = ModelDisk(random.Random(1))
    store = TinyStore(NODE, disk=disk, now=Clock())
    store.add(maker.readings(5))
    size = disk.image(NODE)[NODE / "entries.jsonl"]
    disk.fault = lambda step: enospc() if step == "write" else None
    with pytest.raises(StoreFull, match=r"entries\.jsonl could not be written anew: No space left on device"):
        store.purge([maker.visit])
    disk.fault = lambda step: None
    assert len(store.visit(maker.visit)) == 5
    assert disk.image(NODE)[NODE / "entries.jsonl"] == size
    assert store.add([maker.reading()]).new
    assert seal.verify_store(store) is None


def test_a_disk_that_does_not_confirm_the_new_file_takes_nothing_more_until_reopened(maker: Maker) -> None:
    disk = ModelDisk(random.Random(1))
    store = TinyStore(NODE, disk=disk, now=Clock())
    store.add(maker.readings(5))
    disk.fault = lambda step: enospc() if step == "sync_folder" else None
    with pytest.raises(StoreBroken, match="the disk did not confirm a new file"):
        store.purge([maker.visit])
    with pytest.raises(StoreBroken):
        store.add([maker.reading()])


def _interleaved(store: TinyStore, maker: Maker) -> tuple[TinyStore, list[str]]:
    """Twelve entries of four visits, in turn, some in one batch."""
    visits = [maker.stamper.new_id() for _ in range(4)]
    store.add([maker.reading(visit=visits[0])])
    store.add([maker.reading(visit=visits[1])])
    store.add([maker.reading(visit=visit) for visit in (visits[2], visits[1], visits[1], visits[3])])
    for visit in (visits[3], visits[2], visits[0], visits[0], visits[2], visits[3]):
        store.add([maker.reading(visit=visit)])
    return store, visits


def _backed_up(store: TinyStore | SqlStore) -> dict[str, bool]:
    return {card.visit: card.backed_up for card in Desk(store).visits().visits}
