"""Whoever changes a store by hand is found out: by the chain, or by the head the other side remembers.

`SOAK_BITS` (see `make soak`) goes over every single bit of the files too, not only over every so many.
"""

import itertools
import logging
import os
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from zlib import crc32

import pytest
from sqlalchemy import text

from sync import journal, seal
from sync.access import Device
from sync.desk import Desk
from sync.entry import Entry
from sync.errors import HopError
from sync.hop import Hop
from sync.models import Batch, HeadModel
from sync.sql_store import SqlStore
from sync.store import Head, Store
from sync.tiny_store import TinyStore
from tests.sync.conftest import Clock, Maker
from tests.sync.sim.disk import ModelDisk

ENTRIES = 20
NODE = Path("/node")
JOURNAL = NODE / "entries.jsonl"
# Every so many bits, with a step that has no factor in common with a byte.
STEP = 1 if "SOAK_BITS" in os.environ else 41
CHAIR = Device("chair", "node", "C", "Chair")


@pytest.fixture(autouse=True)
def _quiet() -> Iterator[None]:
    logging.disable(logging.CRITICAL)
    yield
    logging.disable(logging.NOTSET)


@pytest.fixture
def entries() -> list[Entry]:
    return Maker().readings(ENTRIES)


@pytest.fixture
def disk(entries: list[Entry]) -> ModelDisk:
    """A modelled disk with a store of 20 entries, a line each."""
    disk = ModelDisk(random.Random(1))
    store = TinyStore(NODE, disk=disk, now=Clock())
    for entry in entries:
        store.add([entry])
    store.close()
    return disk


@pytest.fixture
def database(entries: list[Entry], tmp_path: Path) -> Iterator[SqlStore]:
    store = SqlStore(f"sqlite:///{tmp_path}/clinic.sqlite", now=Clock())
    for entry in entries:
        store.add([entry])
    yield store
    store.close()


def test_every_single_bit_of_a_chain_of_20_is_held_by_it(disk: ModelDisk) -> None:
    store = TinyStore(NODE, disk=disk, write=False)
    head, links = store.head(), list(store.links())
    flips = 0
    for place, link in enumerate(links):
        before = links[place - 1].hash if place else seal.first(head.epoch)
        for data in _flipped(link.data):
            flips += 1
            assert seal.following(before, place + 1, data) != link.hash
        for hash_ in _flipped(bytes.fromhex(link.hash)):
            changed = [*links[:place], link._replace(hash=hash_.hex()), *links[place + 1 :]]
            assert seal.verify(head.epoch, changed, head.position, head.hash)
    assert flips == sum(len(link.data) for link in links) * 8


def test_every_single_bit_of_every_line_of_the_journal_breaks_the_line(disk: ModelDisk) -> None:
    for line in _lines(disk):
        assert journal._is_whole(line)
        # A flipped line end makes one line of two, or two of one: neither is whole.
        assert not any(journal._is_whole(flipped) for flipped in _flipped(line))


@pytest.mark.timeout(0 if STEP == 1 else 240)
def test_a_bit_flipped_in_the_file_of_the_journal_is_noticed(disk: ModelDisk) -> None:
    head, whole = _head(disk), disk.image(NODE)[JOURNAL]
    for flipped in _flipped(whole, STEP):
        assert _notices(disk, flipped, head)


@pytest.mark.timeout(0 if STEP == 1 else 240)
def test_a_bit_flipped_by_one_who_makes_the_checksums_good_again_is_noticed(disk: ModelDisk) -> None:
    """All but when and from where an entry came (`r`, `s`), which the chain does not cover."""
    head, lines = _head(disk), _lines(disk)
    for number, line in enumerate(lines[2:], 2):
        payload = line[9:-1]
        sealed = payload[: payload.rindex(b',"r":')]
        for flipped in _flipped(sealed, STEP):
            forged = _line(flipped + payload[len(sealed) :])
            assert _notices(disk, b"".join([*lines[:number], forged, *lines[number + 1 :]]), head)


def test_a_hash_written_in_another_way_is_noticed(disk: ModelDisk) -> None:
    """The last letter of base64 has bits that stand for nothing: a flip there would go unseen."""
    head, lines = _head(disk), _lines(disk)
    for number in range(2, len(lines)):
        payload = lines[number][9:-1]
        last = payload.index(b'="],"p":') - 1
        forged = _line(payload[:last] + bytes([payload[last] ^ 2]) + payload[last + 1 :])
        assert _notices(disk, b"".join([*lines[:number], forged, *lines[number + 1 :]]), head)


def test_each_line_of_the_journal_taken_out_is_noticed(disk: ModelDisk) -> None:
    head, lines = _head(disk), _lines(disk)
    for place in range(2, len(lines)):
        assert _notices(disk, b"".join([*lines[:place], *lines[place + 1 :]]), head)


def test_each_pair_of_lines_of_the_journal_swapped_is_noticed(disk: ModelDisk) -> None:
    head, lines = _head(disk), _lines(disk)
    for one, other in itertools.combinations(range(2, len(lines)), 2):
        swapped = list(lines)
        swapped[one], swapped[other] = lines[other], lines[one]
        # The same lines with their positions put right are no better.
        renumbered = [*swapped[:2], *(_at(line, place) for place, line in enumerate(swapped[2:], 1))]
        assert _notices(disk, b"".join(renumbered), head)


def test_lines_only_in_another_order_are_the_same_store_or_noticed(disk: ModelDisk) -> None:
    """Every line says its own position: read in another order it is another chain, or the very same one."""
    head, lines = _head(disk), _lines(disk)
    for one, other in itertools.combinations(range(2, len(lines)), 2):
        swapped = list(lines)
        swapped[one], swapped[other] = lines[other], lines[one]
        store = _opened(disk, b"".join(swapped))
        same = [link.data for link in store.links()] == [link.data for link in _opened(disk, b"".join(lines)).links()]
        assert same or _found(store, head)


def test_a_store_whose_tail_was_cut_is_noticed_by_those_who_remember_its_head(disk: ModelDisk) -> None:
    """A shorter chain is a good chain: only a head kept elsewhere shows that there was more."""
    head, lines = _head(disk), _lines(disk)
    for kept in range(2, len(lines)):
        store = _opened(disk, b"".join(lines[:kept]))
        assert seal.verify_store(store) is None
        assert not _still_holds(store, head)


def test_each_row_of_the_database_taken_out_is_noticed(database: SqlStore) -> None:
    head = database.head()
    for position in range(1, ENTRIES + 1):
        with _changed(database, f"DELETE FROM entry WHERE position = {position}"):
            assert _found(database, head)


def test_each_pair_of_rows_of_the_database_swapped_is_noticed(database: SqlStore) -> None:
    head = database.head()
    for one, other in itertools.combinations(range(1, ENTRIES + 1), 2):
        swap = (
            f"UPDATE entry SET position = CASE position WHEN {one} THEN -{other} ELSE -{one} END "
            f"WHERE position IN ({one}, {other})"
        )
        with _changed(database, swap, "UPDATE entry SET position = -position WHERE position < 0"):
            assert _found(database, head)


@pytest.mark.timeout(0 if STEP == 1 else 240)
@pytest.mark.parametrize("column", ["data", "hash"])
def test_a_bit_flipped_in_a_sealed_row_of_the_database_is_noticed(database: SqlStore, column: str) -> None:
    head = database.head()
    for position in range(1, ENTRIES + 1):
        with database.engine.connect() as connection:
            whole = connection.scalar(text(f"SELECT {column} FROM entry WHERE position = {position}"))
        for flipped in _flipped(whole, STEP * 3 if STEP > 1 else 1):
            _put(database, column, position, flipped)
            assert _found(database, head)
        _put(database, column, position, whole)
    assert not _found(database, head)


@pytest.mark.parametrize(
    ("column", "forged"),
    [
        ("id", "'01a20000-0000-7000-8000-000000000000'"),
        ("visit", "'01a20000-0000-7000-8000-000000000000'"),
        ("kind", "'note'"),
        ("item", "NULL"),
        ("device", "'tablet-9'"),
        ("author", "'staff-9'"),
        ("at", "'2026-01-01T00:00:00Z'"),
        ("clock_ms", "clock_ms + 1"),
        ("clock_counter", "clock_counter + 1"),
        ("bare", "1"),
        ("position", "99"),
    ],
)
def test_a_row_whose_columns_say_something_else_than_its_bytes_is_noticed(
    database: SqlStore, column: str, forged: str
) -> None:
    """By its columns an entry is found: with another visit in them it would be missing from its own."""
    for position in (1, 7, ENTRIES):
        with _changed(database, f"UPDATE entry SET {column} = {forged} WHERE position = {position}"):
            assert _found(database, database.head())


@pytest.mark.parametrize("column", ["epoch", "hash"])
def test_a_head_of_the_database_changed_by_hand_is_noticed(database: SqlStore, column: str) -> None:
    head = database.head()
    with _changed(database, f"UPDATE head SET {column} = '{'0' * 64}'"):
        assert _found(database, head)


def test_a_database_whose_tail_was_cut_with_its_head_put_right_is_noticed_by_those_who_remember(
    database: SqlStore,
) -> None:
    head = database.head()
    for kept in range(1, ENTRIES):
        shortened = (
            f"DELETE FROM entry WHERE position > {kept}",
            f"UPDATE head SET position = {kept}, hash = (SELECT lower(hex(hash)) FROM entry WHERE position = {kept})",
        )
        with _changed(database, *shortened):
            assert seal.verify_store(database) is None
            assert not _still_holds(database, head)


def test_an_old_image_of_a_disk_is_noticed_also_after_it_has_gone_on_further_than_before(disk: ModelDisk) -> None:
    head, image = _head(disk), disk.image(NODE)
    more = Maker("tablet-2").readings(30)
    for kept in (2, 12, 21):
        disk.put_back(NODE, {**image, JOURNAL: b"".join(_lines(disk, image)[:kept])})
        store = TinyStore(NODE, disk=disk, now=Clock())
        for entry in more:
            store.add([entry])
        assert store.head().position > head.position
        assert seal.verify_store(store) is None
        assert not _still_holds(store, head)
        store.close()


def test_a_chair_node_whose_disk_was_put_back_hears_of_it_from_the_clinic(disk: ModelDisk, database: SqlStore) -> None:
    """Its own memory of the hop is as old as its entries: only the clinic remembers the head it had."""
    clinic = Desk(database, now=Clock())
    image = disk.image(NODE)
    store = TinyStore(NODE, disk=disk, now=Clock())
    store.add(Maker("tablet-2").readings(3))
    _converse(Hop(store, Clock()), clinic)
    store.close()
    disk.put_back(NODE, image)
    store = TinyStore(NODE, disk=disk, now=Clock())
    store.add(Maker("tablet-3").readings(9))
    hop = Hop(store, Clock())
    _converse(hop, clinic)
    assert "put back to an earlier state" in (hop.status()["alarm"] or "")
    assert store.head().position == database.head().position == ENTRIES + 12


def test_a_clinic_whose_disk_was_put_back_and_went_on_is_noticed_by_the_chair_node_which_offers_all_again(
    disk: ModelDisk, entries: list[Entry]
) -> None:
    """An old image soon stands further on than the head that was known: the position alone says nothing."""
    other = ModelDisk(random.Random(2))
    clinic = TinyStore(NODE, disk=other, now=Clock())
    clinic.add(entries[:5])
    image = other.image(NODE)
    chair = TinyStore(NODE, disk=disk, now=Clock())
    _converse(Hop(chair, Clock()), Desk(clinic, now=Clock()))
    clinic.close()
    other.put_back(NODE, image)
    clinic = TinyStore(NODE, disk=other, now=Clock())
    clinic.add(Maker("tablet-9").readings(40))
    hop = Hop(chair, Clock())
    _converse(hop, Desk(clinic, now=Clock()))
    assert "was changed" in (hop.status()["alarm"] or "")
    assert clinic.visit(entries[0]["visit"]) == chair.visit(entries[0]["visit"])


def _flipped(data: bytes, step: int = 1) -> Iterator[bytes]:
    """`data` with one bit flipped, for every `step`th bit."""
    for bit in range(0, len(data) * 8, step):
        flipped = bytearray(data)
        flipped[bit // 8] ^= 1 << bit % 8
        yield bytes(flipped)


def _lines(disk: ModelDisk, image: dict[Path, bytes] | None = None) -> list[bytes]:
    return (image or disk.image(NODE))[JOURNAL].splitlines(keepends=True)


def _line(payload: bytes) -> bytes:
    return b"%08x %b\n" % (crc32(payload), payload)


def _at(line: bytes, position: int) -> bytes:
    """The line with another position in it."""
    head, _, tail = line[9:-1].rpartition(b',"p":')
    return _line(head + b',"p":%d' % position + tail[tail.index(b",") :])


def _opened(disk: ModelDisk, data: bytes) -> TinyStore:
    other = ModelDisk(random.Random(1))
    other.put_back(NODE, {**disk.image(NODE), JOURNAL: data})
    return TinyStore(NODE, disk=other, write=False)


def _head(disk: ModelDisk) -> Head:
    return TinyStore(NODE, disk=disk, write=False).head()


def _notices(disk: ModelDisk, data: bytes, head: Head) -> bool:
    store = _opened(disk, data)
    return bool(store.torn) or _found(store, head)


def _found(store: Store, head: Head) -> bool:
    """Whether `threemark verify` names something, or another node that remembers `head` does."""
    return bool(store.damaged or seal.verify_store(store)) or not _still_holds(store, head)


def _still_holds(store: Store, head: Head) -> bool:
    """What a node says to one who asks with the head it remembers, as every hop does."""
    known = HeadModel.of(head)
    answer = Desk(store, now=Clock()).visits(known=known.as_text())
    return answer.holds and answer.head.epoch == head.epoch and answer.head.position >= head.position


def _put(store: SqlStore, column: str, position: int, value: bytes) -> None:
    with store.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql(f"UPDATE entry SET {column} = ? WHERE position = ?", (value, position))


class _changed:
    """The database with something changed by hand, put right again afterwards."""

    def __init__(self, store: SqlStore, *statements: str) -> None:
        self._store = store
        self._statements = statements

    def __enter__(self) -> None:
        self._run("CREATE TABLE kept_entry AS SELECT * FROM entry", "CREATE TABLE kept_head AS SELECT * FROM head")
        self._run(*self._statements)

    def __exit__(self, *_how: Any) -> None:
        for table in ("entry", "head"):
            self._run(f"DELETE FROM {table}", f"INSERT INTO {table} SELECT * FROM kept_{table}")
            self._run(f"DROP TABLE kept_{table}")

    def _run(self, *statements: str) -> None:
        with self._store.engine.connect() as connection, connection.begin():
            for statement in statements:
                connection.execute(text(statement))


def _converse(hop: Hop, desk: Desk) -> None:
    """Rounds of a hop with a desk, without a wire, until one goes through."""
    talk, given = hop.round(), None
    while True:
        try:
            call = talk.send(given)
        except StopIteration:
            return
        except HopError:
            talk, given = hop.round(), None
            continue
        if call.method == "POST":
            given = desk.take(Batch.model_validate_json(call.body), CHAIR)
        elif call.path == "/sync/visits":
            given = desk.visits(call.params.get("after"), 100, call.params.get("known"))
        else:
            given = desk.entries(call.params["visit"], call.params.get("after"))
