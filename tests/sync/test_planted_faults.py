"""Faults put in on purpose: each must be caught, or the tests that are to catch it prove nothing.

The simulator (or the fault layer) is run with one thing done wrong, and has to break a promise within so many seeds.
"""

import logging
import random
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any
from zlib import crc32

import pytest

from sync import hop, journal, seal, tiny_store
from sync.access import Device
from sync.atomic import write_all
from sync.desk import Desk
from sync.disk import Disk
from sync.entry import Entry, canonical, in_order
from sync.hop import Hop
from sync.journal import Journal
from sync.journal_db import JournalStorage
from sync.models import HeadModel
from sync.store import Added, Touched
from sync.tiny_store import TinyStore
from tests.sync import test_fault_layer as layer
from tests.sync.sim.disk import ModelDisk
from tests.sync.sim.node import TinyNode
from tests.sync.sim.tablet import PAUSE, Tablet
from tests.sync.sim.world import Actor, Broken, Refused, World

DRAFTS = [("reading", "height", 1.5), ("answer", "lips", "closed"), ("adjustment", "wax", {"front": 1})]

TABLET = Device("t1", "tablet", "K", "Tablet")

Plant = pytest.MonkeyPatch


@pytest.fixture(autouse=True)
def _quiet() -> Iterator[None]:
    logging.disable(logging.CRITICAL)
    yield
    logging.disable(logging.NOTSET)


def _caught(plant: Plant, seeds: int = 600) -> None:
    """The simulator breaks a promise within so many seeds, and keeps it in the same morning without the fault."""
    for seed in range(seeds):
        try:
            World(seed, DRAFTS).live()
        except Broken:
            plant.undo()
            World(seed, DRAFTS).live()
            return
    pytest.fail(f"{seeds} mornings went by and nobody noticed")


def _caught_by_the_layer(*tests: Callable[[], None]) -> None:
    for test in tests:
        with pytest.raises((AssertionError, pytest.fail.Exception)):
            test()


# The disk.


def test_an_fsync_that_is_skipped_is_caught(monkeypatch: Plant) -> None:
    monkeypatch.setattr(ModelDisk, "sync", lambda self, file: None)
    _caught(monkeypatch)


def test_an_fsync_that_is_skipped_is_caught_by_the_fault_layer(monkeypatch: Plant) -> None:
    monkeypatch.setattr(ModelDisk, "sync", lambda self, file: None)
    _caught_by_the_layer(lambda: layer.test_an_end_at_any_step_loses_nothing_that_was_acknowledged(True))


def test_a_folder_whose_names_are_not_synced_is_caught(monkeypatch: Plant) -> None:
    monkeypatch.setattr(ModelDisk, "sync_folder", lambda self, folder: None)
    _caught_by_the_layer(lambda: layer.test_an_end_at_any_step_loses_nothing_that_was_acknowledged(True))


def test_a_new_folder_not_synced_in_the_one_above_is_caught(monkeypatch: Plant) -> None:
    def make_folder(folder: Path, disk: Disk) -> None:
        disk.make_folder(folder.parent)
        disk.make_folder(folder)

    monkeypatch.setattr(tiny_store, "make_folder", make_folder)
    _caught_by_the_layer(lambda: layer.test_an_end_at_any_step_loses_nothing_that_was_acknowledged(True))


def test_a_name_synced_only_by_the_first_who_opens_is_caught(monkeypatch: Plant) -> None:
    def only_fresh(self: Any) -> None:
        fresh = not self._disk.exists(self.path)
        self._file = self._disk.open(self.path)
        if fresh:
            self._disk.sync_folder(self.path.parent)

    monkeypatch.setattr(Journal, "_open", only_fresh)
    _caught_by_the_layer(layer.test_an_end_at_any_step_and_another_at_any_step_of_getting_up_loses_nothing)


def test_a_line_read_but_never_synced_that_is_acknowledged_is_caught(monkeypatch: Plant) -> None:
    def cut_only(self: Any) -> None:
        if self.torn:
            self._keep_tail()
            self._disk.cut(self._file, self._size)
            self._disk.sync(self._file)

    monkeypatch.setattr(Journal, "_make_sure", cut_only)
    _caught_by_the_layer(layer.test_an_end_at_any_step_and_another_at_any_step_of_getting_up_loses_nothing)


def test_a_line_left_behind_by_a_failed_fsync_is_caught(monkeypatch: Plant) -> None:
    def append(self: Any, payload: bytes) -> None:
        line = b"%08x %b\n" % (crc32(payload), payload)
        self._put(line)
        try:
            self._disk.sync(self._file)
        except OSError as error:
            self._fail("the disk did not confirm a write", error)
        self._size += len(line)

    def only_sync(self: Any) -> None:
        self._disk.sync(self._file)

    monkeypatch.setattr(Journal, "append", append)
    monkeypatch.setattr(Journal, "_make_sure", only_sync)
    _caught_by_the_layer(layer.test_a_line_whose_fsync_failed_does_not_come_back_from_memory_as_if_it_were_kept)


def test_an_fsync_that_failed_and_is_only_tried_again_is_caught(monkeypatch: Plant) -> None:
    monkeypatch.setattr(ModelDisk, "write_over", lambda self, file, data, offset: len(data))
    _caught_by_the_layer(layer.test_a_start_whose_fsync_failed_does_not_let_the_next_start_take_for_kept_what_it_reads)


def test_a_torn_tail_taken_for_a_line_is_caught(monkeypatch: Plant) -> None:
    monkeypatch.setattr(journal, "_is_whole", lambda line: b'"p":' in line or b'"journal"' in line)
    with pytest.raises((AssertionError, ValueError)):
        layer.test_a_tail_cut_at_every_byte_on_the_modelled_disk_is_gone_as_a_whole()


def test_a_half_line_left_by_a_full_disk_is_caught(monkeypatch: Plant) -> None:
    def put(self: Any, line: bytes) -> None:
        try:
            write_all(self._disk, self._file, line)
        except OSError as error:
            raise journal.StoreFull("full") from error

    monkeypatch.setattr(Journal, "_put", put)
    _caught_by_the_layer(layer.test_after_a_full_disk_has_room_again_the_same_store_goes_on)


# The store.


def test_an_acknowledgement_before_the_commit_is_caught(monkeypatch: Plant) -> None:
    real, held_back = TinyStore.add, dict[int, list[Entry]]()

    def add(self: TinyStore, entries: Sequence[Entry], *, source: str = "") -> Added:
        """Says stored at once, and writes with the next batch."""
        late, held_back[id(self)] = held_back.get(id(self), []), list(entries)
        real(self, late, source=source)
        return Added([entry["id"] for entry in entries], [], [])

    monkeypatch.setattr(TinyStore, "add", add)
    _caught(monkeypatch)


def test_entries_kept_twice_when_they_come_twice_are_caught(monkeypatch: Plant) -> None:
    def sort_batch(entries: Sequence[Entry], _known: object) -> tuple[Added, list[bytes]]:
        ids = [entry["id"] for entry in entries]
        return Added(ids, ids, []), [canonical(entry) for entry in entries]

    monkeypatch.setattr(tiny_store, "sort_batch", sort_batch)
    _caught(monkeypatch)


def test_a_list_of_visits_that_forgets_the_last_touched_is_caught(monkeypatch: Plant) -> None:
    real = JournalStorage.visits_after
    monkeypatch.setattr(JournalStorage, "visits_after", lambda self, position: real(self, position + 1))
    _caught(monkeypatch)


def test_a_feed_in_the_order_of_the_clocks_instead_of_the_commits_is_caught(monkeypatch: Plant) -> None:
    """The cursor then counts in one order and the feed goes in another: what came late with an early clock is lost."""
    real = JournalStorage.after

    def after(self: JournalStorage, position: int) -> Iterator[Any]:
        entries = {entry["id"]: entry for table in self.tables.values() for entry in table.values()}
        ordered = in_order(entries.values())
        receipts = [self._receipt_of[entry["id"]] for entry in ordered]
        return iter(receipts[position:]) if position < len(receipts) else real(self, position)

    monkeypatch.setattr(JournalStorage, "after", after)
    _caught(monkeypatch)


def test_a_merge_that_overwrites_is_caught(monkeypatch: Plant) -> None:
    def merge(self: Tablet, entries: Iterable[Entry]) -> None:
        for entry in entries:
            self.entries[entry["id"]] = {**entry, "at": "2026-01-01T00:00:00Z"}

    monkeypatch.setattr(Tablet, "merge", merge)
    _caught(monkeypatch)


def test_other_bytes_taken_under_a_known_id_are_caught(monkeypatch: Plant) -> None:
    """A store that lets the last one win changes what it had acknowledged."""
    forger = Tablet("t1", lambda: 1_795_600_000_000, random.Random(1))
    entry = forger.make(forger.new_id(), "answer", "lips", "closed")
    forged = {**entry, "value": "open"}
    store = TinyStore("/node", disk=ModelDisk(random.Random(1)))
    store.add([entry])
    assert store.add([forged]).refused
    monkeypatch.setattr(tiny_store, "sort_batch", _last_wins)
    store.add([forged])
    with pytest.raises(AssertionError):
        assert store.visit(entry["visit"]) == [entry]


# The hop.


def test_a_watermark_moved_before_the_acknowledgement_is_caught(monkeypatch: Plant) -> None:
    def push(self: Any) -> Iterator[Any]:
        more = True
        while more:
            page = self._next_page()
            more = page.more
            if page.cursor != self._state.sent:
                self._state.sent = page.cursor
                self._save()
            yield from self._offer(page.entries)

    monkeypatch.setattr(Hop, "_push", push)
    _caught(monkeypatch)


def test_a_node_that_does_not_pull_is_caught(monkeypatch: Plant) -> None:
    monkeypatch.setattr(Hop, "_lacks", lambda self, card: False)
    _caught(monkeypatch)


def test_a_visit_compared_by_its_count_alone_is_not_what_tells_what_is_lacking(monkeypatch: Plant) -> None:
    """Both sides may hold as many entries, and not the same ones."""

    def lacks(self: Any, card: Any) -> bool:
        held: Touched | None = self._store.touched(card.visit)
        return held is None or held.entries > card.entries

    monkeypatch.setattr(Hop, "_lacks", lacks)
    _caught(monkeypatch)


def test_an_epoch_that_is_ignored_is_caught(monkeypatch: Plant) -> None:
    monkeypatch.setattr(hop, "_compare", lambda known, head, holds: "")
    monkeypatch.setattr(Tablet, "compare_heads", _never_compared)
    _caught(monkeypatch)


def test_a_head_that_is_not_checked_against_the_chain_is_caught(monkeypatch: Plant) -> None:
    """An old image of a disk soon stands further on than the head that was known; only its chain tells them apart."""
    monkeypatch.setattr(Desk, "_holds", lambda self, known: True)
    _caught(monkeypatch, 3_000)


def test_a_head_kept_after_the_acknowledgement_instead_of_before_is_caught(monkeypatch: Plant) -> None:
    """A page closed in between remembers that the entry was taken and not by which store."""
    assert all(map(_survives_a_closed_page, range(12)))
    monkeypatch.setattr(Tablet, "push", _settles_first)
    assert not all(map(_survives_a_closed_page, range(12)))


def test_an_entry_refused_by_the_next_node_and_not_offered_again_is_caught(monkeypatch: Plant) -> None:
    monkeypatch.setattr(Hop, "_offer_refused", lambda self: iter(()))
    _caught(monkeypatch)


# The tablet.


def test_an_outbox_forgotten_when_the_token_is_refused_is_caught(monkeypatch: Plant) -> None:
    real = World.answered

    def answered(self: World, actor: Actor, call: Any, turn: int, answer: Any) -> None:
        if isinstance(answer, Refused) and answer.answered == 401 and isinstance(actor.speaker, Tablet):
            actor.speaker.outbox.clear()
        real(self, actor, call, turn, answer)

    monkeypatch.setattr(World, "answered", answered)
    _caught(monkeypatch)


def test_an_outbox_emptied_when_the_batch_is_sent_is_caught(monkeypatch: Plant) -> None:
    real = Tablet.to_send

    def to_send(self: Tablet, after: str, now: int) -> list[Entry]:
        batch = real(self, after, now)
        for entry in batch:
            self.outbox.pop(entry["id"], None)
        return batch

    monkeypatch.setattr(Tablet, "to_send", to_send)
    _caught(monkeypatch)


def test_a_refused_entry_that_is_dropped_is_caught(monkeypatch: Plant) -> None:
    real = Tablet.settle

    def settle(self: Tablet, stored: Iterable[str], settled: Iterable[str], refused: Iterable[Any]) -> None:
        for row in refused:
            self.outbox.pop(row.id, None)
        real(self, stored, settled, ())

    monkeypatch.setattr(Tablet, "settle", settle)
    _caught(monkeypatch)


def test_an_answer_that_came_too_late_taken_for_that_of_another_call_is_caught(monkeypatch: Plant) -> None:
    def answered(self: World, actor: Actor, call: Any, turn: int, answer: Any) -> None:
        if actor.talk is not None and not isinstance(answer, Exception):
            self.go_on(actor, call.model.model_validate_json(answer))

    monkeypatch.setattr(World, "answered", answered)
    with pytest.raises((Broken, AttributeError)):
        _live_many()


# The seal.


def test_a_chain_that_does_not_hold_the_place_of_an_entry_is_caught(monkeypatch: Plant) -> None:
    """Without the position and the hash before it, two entries can change places."""
    monkeypatch.setattr(seal, "linked", lambda previous, position, leaf: seal.hashlib.sha256(leaf).hexdigest())
    store = TinyStore("/node", disk=ModelDisk(random.Random(1)))
    maker = Tablet("t1", lambda: 1_795_600_000_000, random.Random(1))
    visit = maker.new_id()
    store.add([maker.make(visit, "reading", "height", number) for number in range(4)])
    one, two, three, four = store.links()
    swapped = [one, three._replace(position=2), two._replace(position=3), four]
    head = store.head()
    with pytest.raises(AssertionError):
        assert seal.verify(head.epoch, swapped, head.position, head.hash)


def _live_many() -> None:
    for seed in range(60):
        World(seed, DRAFTS).live()


def _last_wins(entries: Sequence[Entry], _known: object) -> tuple[Added, list[bytes]]:
    ids = [entry["id"] for entry in entries]
    return Added(ids, ids, []), [canonical(entry) for entry in entries]


def _never_compared(self: Tablet, head: HeadModel, holds: bool) -> bool:
    self.head = head
    return False


def _settles_first(self: Tablet) -> Iterator[Any]:
    began, after = self._clock(), ""
    while batch := self.to_send(after, began):
        after = batch[-1]["id"]
        answer = yield hop.Call("POST", "/sync/entries", hop.Answer, {}, self._body(batch))
        self.settle(answer.stored, answer.settled, answer.refused)
        yield PAUSE
        self.compare_heads(answer.head, answer.holds)


def _survives_a_closed_page(pauses: int) -> bool:
    """An entry is handed in, the page closes after so many pauses, an old image of the node's disk is put back."""
    now = 1_795_600_000_000
    node = TinyNode("chair", lambda: now, random.Random(1), lambda _entry: None)
    tablet = Tablet("t1", lambda: now, random.Random(1))
    visit = tablet.new_id()
    tablet.make(visit, "reading", "height", 1)
    _converse(tablet, node)
    image = node.image()
    late = tablet.make(visit, "reading", "height", 2)
    _converse(tablet, node, pauses)
    node.put_back(image)
    for _ in range(3):
        _converse(tablet, node)
    return node.store.get(late["id"]) is not None


def _converse(tablet: Tablet, node: TinyNode, pauses: int = 1_000) -> None:
    """A round over a perfect wire, broken off at one of its pauses."""
    talk, given = tablet.round(), None
    with suppress(StopIteration):
        while pauses:
            call = talk.send(given)
            given = None if call is PAUSE else call.model.model_validate_json(node.answer(call, TABLET))
            pauses -= call is PAUSE
