"""TinyDB over a journal, through TinyDB's own extension points.

`JournalStorage` appends only what is new; `JournalTable` lets entries in and nothing be changed. Reading and
`tinydb.Query` are TinyDB's. There is one table per visit, so a save copies nothing that grows with the store.
"""

import bisect
import logging
import uuid
from collections import ChainMap
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple, NoReturn

from tinydb import TinyDB
from tinydb.storages import Storage
from tinydb.table import Table

from sync import erased, seal
from sync.clock import wall_ms
from sync.disk import DISK, Disk
from sync.entry import FIELDS, Entry, canonical, read
from sync.erased import ERASURE, Erasing, Erasure
from sync.errors import StoreFull, StoreImmutable, StoreNewer
from sync.journal import BadLine, Damage, Journal
from sync.journal_lines import FORMAT, Change, change_line, header_line, read_change, read_gone, rewritten
from sync.store import Head, Link

__all__ = ["JournalDB", "JournalStorage", "JournalTable", "Receipt"]

_log = logging.getLogger(__name__)

_FIELDS = frozenset(FIELDS)

Tables = dict[str, dict[str, Entry]]


class Receipt(NamedTuple):
    """How an entry came: its place in the feed, the chain's hash after it, when (ms since 1970) and from where."""

    position: int
    visit: str
    id: str
    hash: bytes
    received: int
    source: str


class JournalStorage(Storage):
    """A TinyDB storage that appends what is new to a journal and keeps all in memory.

    A document is an entry; its table is its "visit" and its id is its "id", so a line repeats neither. Receipts (feed
    position, chain) are kept beside the documents.
    """

    def __init__(
        self, path: Path | str, *, write: bool = True, now: Callable[[], int] = wall_ms, disk: Disk = DISK
    ) -> None:
        self.tables: Tables = {}
        self.receipts: list[Receipt] = []
        self.last_of: dict[str, int] = {}
        self.latest: dict[str, str] = {}
        self.epoch = ""
        self.cut = self.head = Head("", 0, "")
        self.erasures: dict[str, Erasure] = {}
        self._bare: set[str] = set()
        self._owed: set[str] = set()
        self._gone: dict[int, bytes] = {}
        self._receipt_of: dict[str, Receipt] = {}
        self._now = now
        self._journal = Journal(Path(path), write=write, disk=disk)
        self._journal.load(self._take)
        if write and not self.epoch:
            try:
                self._begin()
            except BaseException:
                self._journal.close()
                raise
        self._heed_again(write)

    @property
    def damaged(self) -> list[Damage]:
        return self._journal.damaged

    @property
    def torn(self) -> int:
        return self._journal.torn

    def read(self) -> Any:
        """The tables. Setting one in what is returned changes nothing until it is written."""
        return ChainMap({}, self.tables) if self.tables else None

    def write(self, data: Mapping[str, Mapping[str, Any]]) -> None:
        """Append the documents that are new in `data`. Raises StoreImmutable when any other has changed or is gone.

        TinyDB replaces the dict of the one table it changed, so identity shows which tables to look at.
        """
        given = data.maps[0] if isinstance(data, ChainMap) else data
        changed = {name: table for name, table in given.items() if table is not self.tables.get(name)}
        if not isinstance(data, ChainMap) and self.tables.keys() - data.keys():
            raise StoreImmutable("A visit cannot be removed.")
        fresh = [document for name, table in changed.items() for document in self._fresh(name, table)]
        if fresh:
            self.append([canonical(dict(document)) for document in fresh])

    def append(self, parts: Sequence[bytes], *, source: str = "", received: int | None = None) -> set[str]:
        """Keep new entries, given as canonical bytes: one line, one fsync, then memory. Returns the visits touched.

        Raises StoreFull or StoreBroken with nothing changed in memory.
        """
        received = self._now() if received is None else received
        # Read back from the bytes: what is in memory is what is on disk, and no caller holds these dicts.
        ids = [read(part)["id"] for part in parts] if self.erasures or erased.may_erase(parts) else []
        erasing = erased.apply(ids, parts, self.data, self.erasures) if ids else Erasing([*parts], set(), {}, [])
        position, previous = self.head.position + 1, self.head.hash
        hashes: list[bytes] = []
        for offset, part in enumerate(erasing.fresh):
            leaf = seal.leaf(part, bare=offset in erasing.bare)
            previous = seal.linked(previous, position + offset, leaf)
            hashes.append(bytes.fromhex(previous))
        self._journal.append(change_line(erasing.fresh, hashes, position, received, source, sorted(erasing.bare)))
        entries = [read(part) for part in erasing.fresh]
        for offset, (entry, hash_) in enumerate(zip(entries, hashes, strict=True)):
            self._remember(entry, Receipt(position + offset, entry["visit"], entry["id"], hash_, received, source))
        self._bare |= {entries[offset]["id"] for offset in erasing.bare}
        self._erase(erasing)
        return {entry["visit"] for entry in entries}

    def purge(self, visits: Iterable[str]) -> int:
        """Let go of these visits for good; returns how many entries went. Their leaves stay, for the chain.

        Raises StoreFull or StoreBroken with nothing changed in memory.
        """
        gone = self.tables.keys() & set(visits)
        leaves = {
            receipt.position: seal.leaf(canonical(self.tables[visit][receipt.id]), bare=receipt.id in self._bare)
            for visit in gone
            for receipt in self.of_visit(visit)
        }
        if leaves:
            cut = self._cut_after(self._gone | leaves)
            self._rewrite(cut, gone)
            self.cut = cut
            self._gone = {at: leaf for at, leaf in (self._gone | leaves).items() if at > cut.position}
            self._forget(gone)
        return len(leaves)

    def links(self) -> Iterator[Link]:
        """The chain after the cut, in order."""
        kept = {receipt.position: receipt for receipt in self.receipts}
        for position in sorted(kept.keys() | self._gone.keys()):
            receipt = kept.get(position)
            link = self._link(receipt) if receipt else None
            yield link or Link(position, b"", "", 0, leaf=self._gone[position])

    def links_of(self, visit: str) -> Iterator[Link]:
        """The links of one visit, in order."""
        return filter(None, map(self._link, self.of_visit(visit)))

    def _link(self, receipt: Receipt) -> Link | None:
        """None for an entry that is gone."""
        data = self.data(receipt.id)
        if data is None:
            return None
        bare = receipt.id in self._bare
        return Link(receipt.position, data, receipt.hash.hex(), receipt.received, receipt.source, bare=bare)

    def data(self, entry_id: str) -> bytes | None:
        """The canonical bytes of an entry."""
        entry = self.entry(entry_id)
        return canonical(entry) if entry else None

    def entry(self, entry_id: str) -> Entry | None:
        receipt = self._receipt_of.get(entry_id)
        return self.tables[receipt.visit][entry_id] if receipt else None

    def after(self, position: int) -> Iterator[Receipt]:
        """Receipts after a position, in order."""
        start = bisect.bisect_right(self.receipts, position, key=lambda receipt: receipt.position)
        return (self.receipts[index] for index in range(start, len(self.receipts)))

    def hash_at(self, position: int) -> str:
        """The chain's hash after so many entries; "" when there is no such receipt, or it stood before the cut."""
        start = position
        while start in self._gone:
            start -= 1
        receipt = next(self.after(start - 1), None)
        if start == self.cut.position:
            found = self.cut.hash
        elif receipt and receipt.position == start:
            found = receipt.hash.hex()
        else:
            return ""
        for purged in range(start + 1, position + 1):
            found = seal.linked(found, purged, self._gone[purged])
        return found

    def of_visit(self, visit: str, position: int = 0) -> list[Receipt]:
        """Receipts of one visit after a position, in order."""
        receipts = (self._receipt_of[entry_id] for entry_id in self.tables.get(visit, ()))
        return [receipt for receipt in receipts if receipt.position > position]

    def visits_after(self, position: int) -> list[str]:
        """Visits with an entry after a position, the least recently touched first."""
        found: list[str] = []
        for visit in reversed(self.last_of):
            if self.last_of[visit] <= position:
                break
            found.append(visit)
        return found[::-1]

    def close(self) -> None:
        self._journal.close()

    def _fresh(self, name: str, table: Mapping[str, Any]) -> list[Mapping[str, Any]]:
        old = self.tables.get(name, {})
        if any(table.get(entry_id) is not document for entry_id, document in old.items()):
            raise StoreImmutable("An entry cannot be changed or removed.")
        fresh = [document for entry_id, document in table.items() if entry_id not in old]
        for document in fresh:
            self.check_place(name, document)
        return fresh

    def check_place(self, name: str, document: Mapping[str, Any]) -> None:
        """Raises ValueError unless a document belongs in this table, StoreImmutable when its id is taken."""
        if document.get("visit") != name:
            raise ValueError("An entry goes into the table named by its visit.")
        if document["id"] in self._receipt_of:
            raise StoreImmutable(f"Document with ID {document['id']} already exists.")

    def _begin(self) -> None:
        # Twice, so that one damaged line does not lose the store's name.
        self._named(uuid.uuid4().hex, (0, ""))
        for _ in range(2):
            self._journal.append(header_line(self.epoch))

    def _named(self, epoch: str, cut: Sequence[Any]) -> None:
        self.epoch = epoch
        self.cut = Head(epoch, cut[0], cut[1] or seal.first(epoch))
        self.head = max(self.cut, self.head, key=lambda head: head.position)._replace(epoch=epoch)

    def _take(self, line: Any) -> None:
        with _sense():
            self._take_line(line)

    def _take_line(self, line: Any) -> None:
        if "journal" in line:
            if line["journal"] > FORMAT:
                raise StoreNewer(f"{self._journal.path.name} has format {line['journal']}, newer than {FORMAT}.")
            if not self.epoch:
                self._named(line["epoch"], line.get("cut", (0, "")))
        elif "g" in line:
            gone = read_gone(line)
            self._gone.update(enumerate(gone.leaves, gone.position))
            self.head = Head(self.epoch, gone.position + len(gone.leaves) - 1, gone.hash.hex())
        else:
            change = read_change(line)
            bare = {change.entries[offset]["id"] for offset in change.bare}
            for entry, receipt in _received(change):
                self._remember(entry, receipt)
            self._bare |= bare

    def _remember(self, entry: Entry, receipt: Receipt) -> None:
        visit, entry_id, device = receipt.visit, receipt.id, entry["device"]
        self.tables.setdefault(visit, {})[entry_id] = entry
        self.receipts.append(receipt)
        self._receipt_of[entry_id] = receipt
        self.latest[device] = max(entry_id, self.latest.get(device, ""))
        # Taken out and put back at the end, which keeps the visits in the order they were last touched.
        self.last_of.pop(visit, None)
        self.last_of[visit] = receipt.position
        self.head = Head(self.epoch, receipt.position, receipt.hash.hex())

    def _heed_again(self, write: bool) -> None:
        """Take away the values whose erasure was kept and whose own line was not written anew before the end came."""
        for data in [canonical(entry) for table in self.tables.values() for entry in table.values() if _erases(entry)]:
            erasing = erased.apply(["-"], [data], self.data, {})
            self._wipe(erasing)
        if write:
            self._settle_owed()

    def _erase(self, erasing: Erasing) -> None:
        self._wipe(erasing)
        self._settle_owed()

    def _wipe(self, erasing: Erasing) -> None:
        for erasure in erasing.erasures:
            self.erasures.setdefault(erasure.of, erasure)
        for entry_id, data in erasing.wiped.items():
            entry = read(data)
            # Another dict for the table, or TinyDB's own cache of it would go on showing the value.
            self.tables[entry["visit"]] = {**self.tables[entry["visit"]], entry_id: entry}
            self._bare.add(entry_id)
            self._owed.add(entry_id)

    def _settle_owed(self) -> None:
        if not self._owed:
            return
        try:
            self._rewrite(self.cut, frozenset())
        except StoreFull as full:
            # The erasure itself is kept: it is heeded in memory, and on disk with the next one or the next start.
            _log.warning("%d erased values are still in %s: %s", len(self._owed), self._journal.path.name, full.why)

    def _rewrite(self, cut: Head, gone: Collection[str]) -> None:
        def is_gone(entry: Entry) -> bool:
            return entry["visit"] in gone

        def bared(entry: Entry) -> Entry | None:
            return self.entry(entry["id"]) if entry["id"] in self._owed else None

        def change(line: Any) -> list[bytes]:
            with _sense():
                return list(rewritten(line, cut, is_gone, bared))

        self._journal.rewrite(change)
        self._owed.clear()

    def _cut_after(self, gone: Mapping[int, bytes]) -> Head:
        """Where the chain can begin: after the purged entries that stand before all others."""
        position, hash_ = self.cut.position, self.cut.hash
        while position + 1 in gone:
            position += 1
            hash_ = seal.linked(hash_, position, gone[position])
        return Head(self.epoch, position, hash_)

    def _forget(self, gone: Collection[str]) -> None:
        for visit in gone:
            del self.tables[visit], self.last_of[visit]
        self.receipts = [receipt for receipt in self.receipts if receipt.visit not in gone]
        self._receipt_of = {receipt.id: receipt for receipt in self.receipts}
        self._bare &= self._receipt_of.keys()
        self.erasures = {of: erasure for of, erasure in self.erasures.items() if erasure.visit not in gone}
        self.latest = {}
        for receipt in self.receipts:
            device = self.tables[receipt.visit][receipt.id]["device"]
            self.latest[device] = max(receipt.id, self.latest.get(device, ""))


class JournalTable(Table):
    """The entries of one visit. New ones may be inserted; nothing may be changed or removed."""

    document_id_class = str  # type: ignore[assignment]

    def insert(self, document: Mapping[str, Any]) -> str:  # type: ignore[override]
        return self.insert_multiple([document])[0]

    def insert_multiple(self, documents: Iterable[Mapping[str, Any]]) -> list[str]:  # type: ignore[override]
        """Raises StoreImmutable, and inserts none, when one of them is there already."""
        storage = self.storage
        if not isinstance(storage, JournalStorage):
            raise TypeError("A JournalTable stands on a JournalStorage.")
        fresh = list(documents)
        for document in fresh:
            storage.check_place(self.name, document)
        if len({document["id"] for document in fresh}) < len(fresh):
            raise StoreImmutable("Two of these entries have the same id.")
        storage.append([canonical(dict(document)) for document in fresh])
        self.clear_cache()
        return [document["id"] for document in fresh]

    def update(self, *_args: Any, **_named: Any) -> NoReturn:
        raise StoreImmutable("An entry is never changed.")

    def update_multiple(self, *_args: Any, **_named: Any) -> NoReturn:
        raise StoreImmutable("An entry is never changed.")

    def upsert(self, *_args: Any, **_named: Any) -> NoReturn:
        raise StoreImmutable("An entry is never changed.")

    def remove(self, *_args: Any, **_named: Any) -> NoReturn:
        raise StoreImmutable("An entry is never removed.")

    def truncate(self) -> NoReturn:
        raise StoreImmutable("An entry is never removed.")


class JournalDB(TinyDB):
    """TinyDB over a journal. `JournalDB(path).table(visit).search(Query().kind == "reading")`."""

    table_class = JournalTable
    default_storage_class = JournalStorage  # type: ignore[assignment]

    @property
    def storage(self) -> JournalStorage:
        storage = self._storage
        if not isinstance(storage, JournalStorage):
            raise TypeError("A JournalDB stands on a JournalStorage.")
        return storage

    def drop_table(self, name: str) -> NoReturn:
        raise StoreImmutable(f"The visit {name} is never removed.")

    def drop_tables(self) -> NoReturn:
        raise StoreImmutable("Visits are never removed.")


@contextmanager
def _sense() -> Iterator[None]:
    """Turns what a hand in the file can leave under a good CRC into BadLine."""
    try:
        yield
    except (ValueError, KeyError, TypeError, IndexError, AttributeError) as error:
        raise BadLine("not a line of a store") from error


def _received(change: Change) -> list[tuple[Entry, Receipt]]:
    """Every entry of a change with how it came; all of them looked at before the first is taken."""
    received: list[tuple[Entry, Receipt]] = []
    for offset, (entry, hash_) in enumerate(zip(change.entries, change.hashes, strict=True)):
        if entry.keys() != _FIELDS:
            raise BadLine("not an entry")
        place = change.position + offset
        receipt = Receipt(place, entry["visit"], entry["id"], hash_, change.received, change.source)
        received.append((entry, receipt))
    return received


def _erases(entry: Entry) -> bool:
    return bool(entry["kind"] == ERASURE)
