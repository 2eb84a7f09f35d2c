"""One durable save in the TinyDB store, as the store grows: against the bare fsync and stock TinyDB."""

import json
import os
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from tinydb import TinyDB

from bench import Row
from sync.disk import Disk
from sync.entry import Entry, Stamper, canonical
from sync.tiny_store import TinyStore

SIZES = (100, 10_000, 50_000)
STOCK_SIZES = (100, 1_000, 10_000)
ENTRIES_A_VISIT = 60
ROUNDS = 300
STOCK_EVERY = 30


class CountingDisk(Disk):
    def __init__(self) -> None:
        self.syncs = 0

    def sync(self, file: int) -> None:
        self.syncs += 1
        super().sync(file)


def run() -> list[Row]:
    with tempfile.TemporaryDirectory() as folder:
        return _measured(Path(folder))


def _measured(folder: Path) -> list[Row]:
    maker = Maker()
    disk = CountingDisk()
    stores = {size: _filled(folder / f"ours-{size}", maker, size, disk) for size in SIZES}
    stocks = {size: _stock(folder / f"stock-{size}.json", maker, size) for size in STOCK_SIZES}
    bare = os.open(folder / "bare", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    arms: dict[str, list[float]] = {}
    syncs = disk.syncs
    for turn in range(ROUNDS):
        entry = maker.next()
        data = canonical(entry)
        _timed(arms, "bare", lambda data=data: (os.write(bare, data), os.fsync(bare)))
        for size, store in stores.items():
            _timed(arms, f"ours {size}", lambda store=store, entry=entry: store.add([entry]))
        if turn % STOCK_EVERY == 0:
            for size, db in stocks.items():
                _timed(arms, f"stock {size}", lambda db=db, entry=entry: db.insert(entry))
    syncs_a_save = (disk.syncs - syncs) / (ROUNDS * len(SIZES))
    os.close(bare)
    medians = {name: statistics.median(times) * 1000 for name, times in arms.items()}
    rows = _rows(medians)
    rows.append(Row("fsyncs a save", syncs_a_save, "", syncs_a_save, "one", "<= 1"))
    rows.append(_bytes_row(folder, stores[SIZES[-1]]))
    for store in stores.values():
        store.close()
    rows.append(_start_row(folder / f"ours-{SIZES[-1]}"))
    return rows


def _rows(medians: dict[str, float]) -> list[Row]:
    bare, smallest, middle = medians["bare"], medians[f"ours {SIZES[0]}"], medians[f"ours {SIZES[1]}"]
    rows = [Row("append + fsync of the same bytes", bare)]
    for size in SIZES:
        ours = medians[f"ours {size}"]
        rows.append(Row(f"ours, holding {size:,}", ours, "ms", ours / bare, "append + fsync", "<= 2"))
    largest = medians[f"ours {SIZES[-1]}"]
    rows.append(Row(f"ours at {SIZES[-1]:,}", largest, "ms", largest / smallest, f"ours at {SIZES[0]:,}", "<= 1.5"))
    for size in STOCK_SIZES:
        stock = medians[f"stock {size}"]
        rows.append(Row(f"stock TinyDB, holding {size:,}", stock, "ms", stock / bare, "append + fsync"))
    stock = medians[f"stock {STOCK_SIZES[-1]}"]
    rows.append(Row(f"stock TinyDB at {STOCK_SIZES[-1]:,}", stock, "ms", stock / middle, "ours there", ">= 50"))
    return rows


def _bytes_row(folder: Path, store: TinyStore) -> Row:
    raw = sum(len(json.dumps(entry, separators=(",", ":"))) for entry in store.since(None, 10**6).entries)
    stored = (folder / f"ours-{SIZES[-1]}" / "entries.jsonl").stat().st_size
    return Row(
        "bytes on disk an entry", stored / store.head().position, "bytes", stored / raw, "entry as JSON", "<= 1.6"
    )


def _start_row(folder: Path) -> Row:
    """Opening the store against reading the same entries with one json.loads."""
    store = TinyStore(folder, write=False)
    text = json.dumps(store.since(None, 10**6).entries)
    loads: list[float] = []
    opens: list[float] = []
    for _ in range(3):
        loads.append(_seconds(lambda: json.loads(text)))
        opens.append(_seconds(lambda: TinyStore(folder, write=False)))
    opened, loaded = statistics.median(opens), statistics.median(loads)
    return Row(f"start with {SIZES[-1]:,}", opened * 1000, "ms", opened / loaded, "one json.loads", "<= 5")


class Maker:
    """Makes entries of ordinary length, 60 to a visit."""

    def __init__(self) -> None:
        self._stamper = Stamper("0b5f6c1e-7a52-4a51-9d3e-2f3f0a4b9c11")
        self._visit = ""
        self._count = 0

    def next(self) -> Entry:
        if self._count % ENTRIES_A_VISIT == 0:
            self._visit = self._stamper.new_id()
        self._count += 1
        value = 60 + self._count % 40 / 2
        return self._stamper.entry(self._visit, "reading", author="staff-1", item="height.first", value=value)


def _filled(folder: Path, maker: Maker, size: int, disk: Disk) -> TinyStore:
    """A store of `size` entries saved one by one, as a tablet saves them; only the filling does without the fsync."""

    class Hasty(Disk):
        def sync(self, file: int) -> None:
            pass

    store = TinyStore(folder, disk=Hasty())
    for _ in range(size):
        store.add([maker.next()])
    store.close()
    return TinyStore(folder, disk=disk)


def _stock(path: Path, maker: Maker, size: int) -> TinyDB:
    db = TinyDB(path)
    db.insert_multiple([maker.next() for _ in range(size)])
    return db


def _timed(arms: dict[str, list[float]], name: str, call: Callable[[], object]) -> None:
    arms.setdefault(name, []).append(_seconds(call))


def _seconds(call: Callable[[], object]) -> float:
    began = time.perf_counter()
    call()
    return time.perf_counter() - began
