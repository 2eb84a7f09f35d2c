"""A store on a disk that dies, lies and fills up at every single step: what was acknowledged is there afterwards."""

import random
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from sync import seal
from sync.entry import Entry, Refusal, canonical
from sync.erased import make, same
from sync.errors import StoreBroken, StoreFull, SyncError
from sync.store import Added
from sync.tiny_store import TinyStore
from tests.sync.conftest import Clock, Maker
from tests.sync.sim.disk import Gone, ModelDisk, eio, enospc

NODE = Path("/bag/node")
DRAWS = range(4)


class Life:
    """Somebody who uses a store, remembers what it acknowledged, and goes on after every mishap."""

    def __init__(self, disk: ModelDisk) -> None:
        self.disk = disk
        maker = Maker()
        self.entries = maker.readings(6)
        self.erasure = make(maker.stamper, self.entries[1], "asked for", "staff-1")
        self.written = {entry["id"]: canonical(entry) for entry in [*self.entries, self.erasure]}
        self.acknowledged: set[str] = set()
        self.filed: set[int] = set()
        self.kept = {None}
        self.store: TinyStore | None = None

    def open(self) -> TinyStore:
        self.store = TinyStore(NODE, disk=self.disk, now=Clock())
        return self.store

    def deeds(self) -> Iterator[Callable[[TinyStore], None]]:
        """What is done, one after the other."""
        yield lambda store: self.add(store, self.entries[:1])
        yield lambda store: self.add(store, self.entries[1:4])
        yield lambda store: self.refuse(store, 1)
        yield lambda store: self.keep(store, "one")
        yield lambda store: self.add(store, [self.entries[0], self.entries[4]])
        yield lambda store: self.keep(store, "two")
        yield lambda store: self.add(store, [self.erasure])
        yield lambda store: self.refuse(store, 2)
        yield lambda store: self.add(store, self.entries[5:])

    def live(self) -> None:
        """All of it, from an empty disk. Raises Gone, or the SyncError of a disk that fails."""
        store = self.open()
        for deed in self.deeds():
            deed(store)

    def add(self, store: TinyStore, entries: list[Entry]) -> None:
        added: Added = store.add(entries)
        self.acknowledged |= set(added.stored)

    def refuse(self, store: TinyStore, what: int) -> None:
        store.refuse({"nonsense": what}, Refusal("entry", "is none"), "tablet-1")
        self.filed.add(what)

    def keep(self, store: TinyStore, value: str) -> None:
        self.kept.add(value)
        store.keep("sent", value)
        self.kept = {value}

    def check(self) -> None:
        """Open the store: all acknowledged is in it, all in it was written, and it takes what is still missing."""
        store = self.open()
        held = store.since().entries
        assert self.acknowledged <= {entry["id"] for entry in held}
        assert all(same(self.written[entry["id"]], canonical(entry)) for entry in held)
        assert seal.verify_store(store) is None
        assert not store.damaged
        assert self.filed <= {record.entry["nonsense"] for record in store.refused()}
        assert store.kept("sent") in self.kept
        self.add(store, [*self.entries, self.erasure])
        assert self.acknowledged == self.written.keys()
        store.close()
        assert _ids(self.disk) == self.acknowledged


def steps_of_a_life() -> int:
    disk = ModelDisk(random.Random(0))
    Life(disk).live()
    return disk.steps


STEPS = steps_of_a_life()


@pytest.mark.parametrize("power", [False, True], ids=["killed", "power cut"])
def test_an_end_at_any_step_loses_nothing_that_was_acknowledged(power: bool) -> None:
    for step, draw in ((step, draw) for step in range(1, STEPS + 1) for draw in DRAWS):
        life = _ended(step, draw)
        life.disk.restart(power=power)
        life.check()


def test_an_end_at_any_step_and_another_at_any_step_of_getting_up_loses_nothing() -> None:
    """A writer killed between a write and its fsync leaves a line that is read, and not on disk yet."""
    for step in range(1, STEPS + 1):
        for again in range(1, 18):
            life = _ended(step, step * again)
            life.disk.restart(power=bool(again % 2))
            life.disk.die_at = life.disk.steps + again
            with suppress(Gone):
                life.add(life.open(), life.entries)
            life.disk.restart(power=True)
            life.check()


@pytest.mark.parametrize("error", [enospc, eio], ids=["ENOSPC", "EIO"])
@pytest.mark.parametrize("for_good", [False, True], ids=["once", "for good"])
def test_an_error_of_the_disk_at_any_step_is_said_and_loses_nothing(
    error: Callable[[], OSError], for_good: bool
) -> None:
    for step, draw in ((step, draw) for step in range(1, STEPS + 1) for draw in DRAWS):
        life = Life(ModelDisk(random.Random(draw)))
        life.disk.fault = _fault(life.disk, error, step, for_good)
        _live_on(life)
        life.disk.fault = lambda _step: None
        _say_goodbye(life)
        life.disk.restart(power=bool(draw % 2))
        life.check()


def test_after_a_full_disk_has_room_again_the_same_store_goes_on() -> None:
    for step in range(1, STEPS + 1):
        life = Life(ModelDisk(random.Random(step)))
        store = life.open()
        life.disk.fault = lambda name: enospc() if name == "write" else None
        with pytest.raises(StoreFull):
            life.add(store, life.entries[:3])
        life.disk.fault = lambda _step: None
        life.add(store, life.entries)
        life.disk.restart(power=True)
        life.check()


def test_a_line_whose_fsync_failed_does_not_come_back_from_memory_as_if_it_were_kept() -> None:
    for draw in range(60):
        life = Life(ModelDisk(random.Random(draw)))
        store = life.open()
        life.add(store, life.entries[:1])
        life.disk.fault = lambda name: eio() if name == "sync" else None
        with pytest.raises(StoreBroken):
            life.add(store, life.entries[1:4])
        life.disk.fault = lambda _step: None
        store.close()
        store = life.open()
        life.add(store, life.entries)
        life.disk.restart(power=True)
        life.check()


def test_a_start_whose_fsync_failed_does_not_let_the_next_start_take_for_kept_what_it_reads() -> None:
    """The system does not write the pages of a failed fsync again, and reads them back as if it had."""
    for step in range(1, STEPS + 1):
        for draw in range(6):
            life = _ended(step, draw)
            life.disk.restart(power=False)
            life.disk.fault = lambda name: eio() if name == "sync" else None
            with pytest.raises(SyncError):
                life.open()
            life.disk.fault = lambda _step: None
            life.add(life.open(), life.entries)
            life.disk.restart(power=True)
            life.check()


def test_unsynced_pages_lost_torn_and_out_of_order_are_never_taken_for_entries() -> None:
    """A line of many pages dies before its fsync: it is there as a whole or gone as a whole."""
    seen = set[int]()
    for draw in range(400):
        disk = ModelDisk(random.Random(draw))
        life = Life(disk)
        store = life.open()
        life.add(store, life.entries[:1])
        disk.die_at = disk.steps + 2
        with pytest.raises(Gone):
            store.add(life.entries[1:])
        disk.restart(power=True)
        seen.add(len(_ids(disk)))
        life.check()
    assert seen == {1, 6}


def test_a_tail_cut_at_every_byte_on_the_modelled_disk_is_gone_as_a_whole() -> None:
    life = Life(ModelDisk(random.Random(1)))
    store = life.open()
    for entry in life.entries[:3]:
        life.add(store, [entry])
    store.close()
    image = life.disk.image(NODE)
    journal = image[NODE / "entries.jsonl"]
    for size in range(journal.rindex(b"\n", 0, -1) + 1, len(journal)):
        life.disk.put_back(NODE, {**image, NODE / "entries.jsonl": journal[:size]})
        assert _ids(life.disk) == {entry["id"] for entry in life.entries[:2]}


def _ended(step: int, draw: int) -> Life:
    """A life that ended at this step."""
    life = Life(ModelDisk(random.Random(draw)))
    life.disk.die_at = step
    with suppress(Gone):
        life.live()
    return life


def _fault(disk: ModelDisk, error: Callable[[], OSError], step: int, for_good: bool) -> Callable[[str], OSError | None]:
    def fault(_name: str) -> OSError | None:
        return error() if disk.steps == step or (for_good and disk.steps > step) else None

    return fault


def _live_on(life: Life) -> None:
    """Do everything, going on after what failed as a node does: what is full is tried later, what broke reopened."""
    store = _opened(life)
    for deed in life.deeds():
        try:
            if store:
                deed(store)
        except StoreFull:
            continue
        except StoreBroken:
            if store:
                store.close()
            store = _opened(life)


def _opened(life: Life) -> TinyStore | None:
    try:
        return life.open()
    except SyncError:
        life.store = None
        return None


def _say_goodbye(life: Life) -> None:
    if life.store:
        life.store.close()


def _ids(disk: ModelDisk) -> set[str]:
    store = TinyStore(NODE, disk=disk)
    try:
        return {entry["id"] for entry in store.since().entries}
    finally:
        store.close()
