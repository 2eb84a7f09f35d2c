"""An acknowledged entry is never lost, and no store fails to open, whatever the disk and the power do."""

import errno
import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from sync import seal
from sync.disk import Disk
from sync.entry import Entry, Refusal
from sync.errors import StoreAway, StoreBroken, StoreFull, StoreInUse, StoreMissing, StoreNewer, StoreReadOnly
from sync.sql_store import SqlStore
from sync.tiny_store import TinyStore
from tests.sync.conftest import Maker


class FailingDisk(Disk):
    """A disk that fails when told to, and counts."""

    def __init__(self) -> None:
        self.room: int | None = None
        self.fail_sync = False
        self.fail_cut = False
        self.syncs = 0

    def write(self, file: int, data: bytes) -> int:
        if self.room is None:
            return super().write(file, data)
        if self.room == 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        written = super().write(file, data[: self.room])
        self.room -= written
        return written

    def sync(self, file: int) -> None:
        self.syncs += 1
        if self.fail_sync:
            raise OSError(errno.EIO, "Input/output error")
        super().sync(file)

    def cut(self, file: int, size: int) -> None:
        if self.fail_cut:
            raise OSError(errno.EIO, "Input/output error")
        super().cut(file, size)


def _filled(folder: Path, entries: list[Entry]) -> Path:
    """A store of one line per entry. Returns its journal."""
    store = TinyStore(folder)
    for entry in entries:
        store.add([entry])
    store.close()
    return folder / "entries.jsonl"


def _held(folder: Path, *, write: bool = True) -> list[Entry]:
    store = TinyStore(folder, write=write)
    try:
        return store.since().entries
    finally:
        store.close()


def test_a_tail_torn_at_any_byte_is_cut_off_and_kept_and_the_rest_is_whole(tmp_path: Path, maker: Maker) -> None:
    entries = maker.readings(3)
    journal = _filled(tmp_path, entries)
    whole = journal.read_bytes()
    last = whole.rindex(b"\n", 0, -1) + 1
    for size in range(last, len(whole)):
        journal.write_bytes(whole[:size])
        torn = tmp_path / "entries.jsonl.torn"
        torn.unlink(missing_ok=True)
        store = TinyStore(tmp_path)
        assert (store.since().entries, store.torn) == (entries[:2], size - last)
        assert not torn.exists() or torn.read_bytes() == whole[last:size] + b"\n"
        assert torn.exists() == (size > last)
        assert store.add(entries).new == [entries[2]["id"]]
        assert seal.verify_store(store) is None
        store.close()
        assert _held(tmp_path) == entries


def test_a_batch_torn_at_any_byte_is_gone_as_a_whole_or_there_as_a_whole(tmp_path: Path, maker: Maker) -> None:
    entries = maker.readings(5)
    journal = _filled(tmp_path, entries[:1])
    start = journal.stat().st_size
    store = TinyStore(tmp_path)
    store.add(entries[1:])
    store.close()
    whole = journal.read_bytes()
    for size in range(start, len(whole), 5):
        journal.write_bytes(whole[:size])
        assert _held(tmp_path) == entries[:1]
    journal.write_bytes(whole)
    assert _held(tmp_path) == entries


def test_a_journal_cut_anywhere_opens_with_what_came_before_the_cut(tmp_path: Path, maker: Maker) -> None:
    entries = maker.readings(3)
    journal = _filled(tmp_path, entries)
    whole = journal.read_bytes()
    for size in range(0, len(whole), 3):
        journal.write_bytes(whole[:size])
        held = _held(tmp_path)
        assert held == entries[: len(held)]
        assert len(held) == max(whole[:size].count(b"\n") - 2, 0)


def test_any_bit_flipped_is_never_taken_for_truth(tmp_path: Path, maker: Maker) -> None:
    entries = maker.readings(3)
    journal = _filled(tmp_path, entries)
    whole = journal.read_bytes()
    for byte in range(len(whole)):
        flipped = bytearray(whole)
        flipped[byte] ^= 1 << byte % 8
        journal.write_bytes(flipped)
        store = TinyStore(tmp_path, write=False)
        held = store.since().entries
        assert all(entry in entries for entry in held)
        assert len(held) == 3 or store.damaged or store.torn
        # A flipped line end makes one line of two.
        assert len(held) >= (1 if whole[byte : byte + 1] == b"\n" else 2)


def test_a_line_damaged_inside_is_reported_and_stays_and_the_others_are_read(tmp_path: Path, maker: Maker) -> None:
    entries = maker.readings(3)
    journal = _filled(tmp_path, entries)
    lines = journal.read_bytes().splitlines(keepends=True)
    lines[3] = lines[3].replace(b'"kind":"reading"', b'"kind":"rEading"')
    journal.write_bytes(b"".join(lines))
    store = TinyStore(tmp_path)
    [damage] = store.damaged
    assert (damage.line, damage.offset, damage.size) == (4, sum(map(len, lines[:3])), len(lines[3]))
    assert store.since().entries == [entries[0], entries[2]]
    assert store.add([entries[1]]).new == [entries[1]["id"]]
    flaw = seal.verify_store(store)
    assert flaw is not None
    assert flaw.position == 2
    store.close()
    assert lines[3] in journal.read_bytes()
    assert _held(tmp_path) == [entries[0], entries[2], entries[1]]


def test_a_store_whose_name_is_damaged_keeps_it_from_the_second_writing(tmp_path: Path, maker: Maker) -> None:
    entries = maker.readings(2)
    journal = _filled(tmp_path, entries)
    store = TinyStore(tmp_path)
    epoch = store.epoch
    store.close()
    journal.write_bytes(b"X" + journal.read_bytes()[1:])
    store = TinyStore(tmp_path)
    assert store.epoch == epoch
    assert len(store.damaged) == 1
    store.close()


def test_a_store_that_lost_its_name_gets_one_new_one_and_keeps_its_entries(tmp_path: Path, maker: Maker) -> None:
    entries = maker.readings(2)
    journal = _filled(tmp_path, entries)
    lines = journal.read_bytes().splitlines(keepends=True)
    journal.write_bytes(b"".join([b"X" + lines[0][1:], b"X" + lines[1][1:], *lines[2:]]))
    store = TinyStore(tmp_path)
    epoch = store.epoch
    assert store.since().entries == entries
    store.close()
    store = TinyStore(tmp_path)
    assert store.epoch == epoch != ""
    store.close()


def test_a_file_that_is_no_journal_is_set_aside_and_kept(tmp_path: Path) -> None:
    (tmp_path / "entries.jsonl").write_bytes(b"something else\n" * 20)
    assert _held(tmp_path) == []
    assert (tmp_path / "entries.jsonl.torn").read_bytes().startswith(b"something else\n" * 20)


def test_a_reader_changes_nothing_and_reads_to_the_last_whole_line(tmp_path: Path, maker: Maker) -> None:
    entries = maker.readings(2)
    journal = _filled(tmp_path, entries)
    torn = journal.read_bytes()[:-10]
    journal.write_bytes(torn)
    writer_lock = (tmp_path / "lock").stat().st_mtime_ns
    assert _held(tmp_path, write=False) == entries[:1]
    assert journal.read_bytes() == torn
    assert (tmp_path / "lock").stat().st_mtime_ns == writer_lock


def test_a_reader_cannot_write(tmp_path: Path, maker: Maker) -> None:
    _filled(tmp_path, maker.readings(1))
    reader = TinyStore(tmp_path, write=False)
    with pytest.raises(StoreReadOnly):
        reader.add([maker.reading()])
    with pytest.raises(StoreReadOnly):
        reader.keep("sent", 1)
    with pytest.raises(StoreReadOnly):
        reader.refuse(1, Refusal("entry", "no"))
    reader.close()


def test_a_reader_does_not_make_a_store_where_there_is_none(tmp_path: Path) -> None:
    with pytest.raises(StoreMissing, match="no store in"):
        TinyStore(tmp_path / "nowhere", write=False)
    with pytest.raises(StoreMissing, match="no store at"):
        SqlStore(f"sqlite:///{tmp_path}/nowhere.sqlite", write=False)
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "empty.sqlite").touch()
    with pytest.raises(StoreMissing, match="no store in this database"):
        SqlStore(f"sqlite:///{tmp_path}/empty.sqlite", write=False)


def test_a_reader_of_a_database_reads_beside_its_writer_and_cannot_write(tmp_path: Path, maker: Maker) -> None:
    url = f"sqlite:///{tmp_path}/clinic.sqlite"
    store = SqlStore(url)
    reader = SqlStore(url, write=False)
    entry = maker.reading()
    store.add([entry])
    assert reader.since().entries == [entry]
    with pytest.raises(StoreReadOnly):
        reader.add([maker.reading()])
    reader.close()
    store.close()


def test_a_second_writer_is_refused_while_readers_are_welcome(tmp_path: Path, maker: Maker) -> None:
    store = TinyStore(tmp_path)
    entry = maker.reading()
    store.add([entry])
    with pytest.raises(StoreInUse, match="open for writing in another program"):
        TinyStore(tmp_path)
    assert _held(tmp_path, write=False) == [entry]
    store.close()
    assert _held(tmp_path) == [entry]


def test_a_full_disk_keeps_nothing_of_the_change_and_takes_it_when_there_is_room(tmp_path: Path, maker: Maker) -> None:
    disk = FailingDisk()
    store = TinyStore(tmp_path, disk=disk)
    entries = maker.readings(3)
    store.add(entries[:1])
    for room in (0, 1, 50, 300):
        disk.room = room
        with pytest.raises(StoreFull):
            store.add(entries[1:])
        assert store.since().entries == entries[:1]
        assert _held(tmp_path, write=False) == entries[:1]
    disk.room = None
    assert store.add(entries).new == [entry["id"] for entry in entries[1:]]
    store.close()
    assert _held(tmp_path) == entries


def test_a_write_that_cannot_be_taken_back_stops_writing_until_the_store_is_opened_again(
    tmp_path: Path, maker: Maker
) -> None:
    disk = FailingDisk()
    store = TinyStore(tmp_path, disk=disk)
    entries = maker.readings(2)
    store.add(entries[:1])
    disk.room, disk.fail_cut = 20, True
    with pytest.raises(StoreBroken):
        store.add(entries[1:])
    disk.room, disk.fail_cut = None, False
    with pytest.raises(StoreBroken):
        store.add(entries[1:])
    store.close()
    store = TinyStore(tmp_path)
    assert (store.since().entries, store.torn) == (entries[:1], 20)
    assert store.add(entries).new == [entries[1]["id"]]
    store.close()


def test_after_a_failed_fsync_nothing_is_acknowledged_or_tried_until_the_store_is_opened_again(
    tmp_path: Path, maker: Maker
) -> None:
    disk = FailingDisk()
    store = TinyStore(tmp_path, disk=disk)
    entries = maker.readings(3)
    store.add(entries[:1])
    disk.fail_sync = True
    with pytest.raises(StoreBroken, match="did not confirm"):
        store.add(entries[1:2])
    disk.fail_sync, syncs = False, disk.syncs
    with pytest.raises(StoreBroken):
        store.add(entries[2:])
    assert disk.syncs == syncs
    assert store.since().entries == entries[:1]
    store.close()
    store = TinyStore(tmp_path)
    assert store.since().entries[0] == entries[0]
    assert store.add(entries).stored == [entry["id"] for entry in entries]
    store.close()


def test_a_change_costs_one_fsync_however_many_entries_it_has(tmp_path: Path, maker: Maker) -> None:
    disk = FailingDisk()
    store = TinyStore(tmp_path, disk=disk)
    before = disk.syncs
    store.add(maker.readings(1))
    assert disk.syncs == before + 1
    store.add(maker.readings(500))
    assert disk.syncs == before + 2
    entry = maker.reading()
    store.db.table(maker.visit).insert(entry)
    assert disk.syncs == before + 3
    store.add([entry])
    assert disk.syncs == before + 3
    store.close()


def test_a_saved_entry_takes_at_most_1_6_times_its_own_bytes(tmp_path: Path, maker: Maker) -> None:
    store = TinyStore(tmp_path)
    empty = (tmp_path / "entries.jsonl").stat().st_size
    entries = maker.readings(50)
    for entry in entries:
        store.add([entry])
    store.close()
    raw = sum(len(json.dumps(entry, separators=(",", ":"))) for entry in entries)
    assert (tmp_path / "entries.jsonl").stat().st_size - empty <= 1.6 * raw


def test_a_store_of_a_newer_program_is_not_touched(tmp_path: Path) -> None:
    from zlib import crc32

    payload = b'{"journal":2,"epoch":"a"}'
    line = b"%08x %b\n" % (crc32(payload), payload)
    (tmp_path / "entries.jsonl").write_bytes(line)
    with pytest.raises(StoreNewer):
        TinyStore(tmp_path)
    assert (tmp_path / "entries.jsonl").read_bytes() == line


_WRITER = """
import itertools
import sys
from sync.entry import Stamper
where, run = sys.argv[1:]
if "://" in where:
    from sync.sql_store import SqlStore
    store = SqlStore(where)
else:
    from sync.tiny_store import TinyStore
    store = TinyStore(where)
stamper = Stamper("tablet-" + run)
visit = stamper.new_id()
for number in itertools.count():
    batch = [
        stamper.entry(visit, "reading", author="staff-1", item="height", value=number) for _ in range(1 + number % 3)
    ]
    for entry_id in store.add(batch).stored:
        print(entry_id, flush=True)
"""
# Of each sort; 50 in the test run, and as many as `make soak` asks for.
KILLS = int(os.environ.get("SOAK_KILLS", "50")) // 2


@pytest.mark.timeout(0 if "SOAK_KILLS" in os.environ else 240)
@pytest.mark.parametrize("kind", ["tiny", "sqlite"])
def test_a_process_killed_while_it_writes_loses_nothing_it_acknowledged(tmp_path: Path, kind: str) -> None:
    where = str(tmp_path / "node") if kind == "tiny" else f"sqlite:///{tmp_path}/clinic.sqlite"
    acknowledged: set[str] = set()
    for run in range(KILLS):
        acknowledged |= _killed(where, run)
        store: Any = TinyStore(where) if kind == "tiny" else SqlStore(where)
        held = [entry["id"] for entry in store.since(None, 10**6).entries]
        assert acknowledged <= set(held)
        assert len(held) == len(set(held))
        if run % 5 == 0 or run == KILLS - 1:
            assert seal.verify_store(store) is None
        store.close()


def _killed(where: str, run: int) -> set[str]:
    """Ids acknowledged by a writer that is killed after it has acknowledged some."""
    command = [sys.executable, "-c", _WRITER, where, str(run)]
    root = str(Path(__file__).parents[2])
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": root}) as writer:
        assert writer.stdout
        heard = [writer.stdout.readline() for _ in range(1 + 7 * run % 90)]
        os.kill(writer.pid, signal.SIGKILL)
        heard += writer.stdout.readlines()
    return {line.strip() for line in heard if line.endswith("\n")}


def test_sqlite_keeps_a_write_ahead_log_and_waits_for_the_disk(tmp_path: Path) -> None:
    store = SqlStore(f"sqlite:///{tmp_path}/clinic.sqlite")
    with store.engine.connect() as connection:
        assert connection.scalar(text("PRAGMA journal_mode")) == "wal"
        assert connection.scalar(text("PRAGMA synchronous")) == 2
    store.close()


def test_a_database_that_is_opened_waits_for_the_disk_before_it_acknowledges_what_it_found(tmp_path: Path) -> None:
    """What a killed writer left in the log is read like anything else, and may not be on disk yet."""
    log = tmp_path / "clinic.sqlite-wal"
    SqlStore(f"sqlite:///{tmp_path}/clinic.sqlite").close()
    assert not log.exists()
    store = SqlStore(f"sqlite:///{tmp_path}/clinic.sqlite")
    assert log.stat().st_size > 0
    store.close()


def test_what_is_kept_is_readable_by_its_owner_only(tmp_path: Path, maker: Maker) -> None:
    database, tiny = SqlStore(f"sqlite:///{tmp_path}/clinic/clinic.sqlite"), TinyStore(tmp_path / "chair")
    for store in (database, tiny):
        store.add([maker.reading()])
        store.refuse(5, Refusal("entry", "is none"))
        store.keep("sent", 1)
    files = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert {path.name for path in files} >= {"clinic.sqlite", "entries.jsonl", "refused.jsonl", "kept.json"}
    assert {path.name: oct(path.stat().st_mode & 0o777) for path in files} == {path.name: "0o600" for path in files}
    database.close()
    tiny.close()


def test_a_database_that_fails_half_way_keeps_nothing_of_the_batch(tmp_path: Path, maker: Maker) -> None:
    store = SqlStore(f"sqlite:///{tmp_path}/clinic.sqlite")
    entries = maker.readings(3)
    store.add(entries[:1])
    with store.engine.connect() as connection, connection.begin():
        connection.execute(
            text("CREATE TRIGGER full BEFORE UPDATE ON head BEGIN SELECT RAISE(ABORT, 'disk full'); END")
        )
    with pytest.raises(StoreAway, match="disk full"):
        store.add(entries)
    assert store.since().entries == entries[:1]
    with store.engine.connect() as connection, connection.begin():
        connection.execute(text("DROP TRIGGER full"))
    assert store.add(entries).new == [entry["id"] for entry in entries[1:]]
    store.close()


def test_a_database_of_a_newer_program_is_not_touched(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path}/clinic.sqlite"
    store = SqlStore(url)
    with store.engine.connect() as connection, connection.begin():
        connection.execute(text("UPDATE head SET format = 2"))
    store.close()
    with pytest.raises(StoreNewer):
        SqlStore(url)
