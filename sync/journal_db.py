"""TinyDB over a journal, through TinyDB's own extension points.

`JournalStorage` appends only what is new; `JournalTable` lets entries in and nothing be changed. Reading and
`tinydb.Query` are TinyDB's. There is one table per visit, so a save copies nothing that grows with the store.
"""

import base64
import bisect
import json
import uuid
from collections import ChainMap
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple, NoReturn

from tinydb import TinyDB
from tinydb.storages import Storage
from tinydb.table import Table

from sync import seal
from sync.clock import wall_ms
from sync.entry import Entry, canonical, read
from sync.errors import StoreImmutable, StoreNewer
from sync.journal import Damage, Disk, Journal
from sync.store import Head

__all__ = ["JournalDB", "JournalStorage", "JournalTable", "Receipt"]

FORMAT = 1

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
        self, path: Path | str, *, write: bool = True, now: Callable[[], int] = wall_ms, disk: Disk | None = None
    ) -> None:
        self.tables: Tables = {}
        self.receipts: list[Receipt] = []
        self.last_of: dict[str, int] = {}
        self.latest: dict[str, str] = {}
        self.epoch = ""
        self._receipt_of: dict[str, Receipt] = {}
        self._now = now
        self._journal = Journal(Path(path), write=write, disk=disk)
        self._journal.load(self._take)
        if write and not self.epoch:
            self._begin()
        self.head = self._find_head()

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

    def append(self, parts: Sequence[bytes], *, source: str = "") -> set[str]:
        """Keep new entries, given as canonical bytes: one line, one fsync, then memory. Returns the visits touched.

        Raises StoreFull or StoreBroken with nothing changed in memory.
        """
        received, position, previous = self._now(), self.head.position + 1, self.head.hash
        hashes: list[str] = []
        for offset, part in enumerate(parts):
            previous = seal.following(previous, position + offset, part)
            hashes.append(previous)
        self._journal.append(_line(parts, hashes, position, received, source))
        # Read back from the bytes: what is in memory is what is on disk, and no caller holds these dicts.
        entries = [read(part) for part in parts]
        for offset, (entry, hash_) in enumerate(zip(entries, hashes, strict=True)):
            self._remember(entry, position + offset, bytes.fromhex(hash_), received, source)
        self.head = self._find_head()
        return {entry["visit"] for entry in entries}

    def entry(self, entry_id: str) -> Entry | None:
        receipt = self._receipt_of.get(entry_id)
        return self.tables[receipt.visit][entry_id] if receipt else None

    def after(self, position: int) -> Iterator[Receipt]:
        """Receipts after a position, in order."""
        start = bisect.bisect_right(self.receipts, position, key=lambda receipt: receipt.position)
        return (self.receipts[index] for index in range(start, len(self.receipts)))

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
        self.epoch = uuid.uuid4().hex
        header = json.dumps({"journal": FORMAT, "epoch": self.epoch}).encode()
        for _ in range(2):
            self._journal.append(header)

    def _find_head(self) -> Head:
        if not self.receipts:
            return Head(self.epoch, 0, seal.first(self.epoch))
        return Head(self.epoch, self.receipts[-1].position, self.receipts[-1].hash.hex())

    def _take(self, line: Any) -> None:
        if "journal" in line:
            if line["journal"] > FORMAT:
                raise StoreNewer(f"{self._journal.path.name} has format {line['journal']}, newer than {FORMAT}.")
            self.epoch = self.epoch or line["epoch"]
            return
        for offset, (entry, hash_) in enumerate(zip(line["e"], line["h"], strict=True)):
            self._remember(entry, line["p"] + offset, base64.b64decode(hash_), line["r"], line.get("s", ""))

    def _remember(self, entry: Entry, position: int, hash_: bytes, received: int, source: str) -> None:
        visit, entry_id, device = entry["visit"], entry["id"], entry["device"]
        self.tables.setdefault(visit, {})[entry_id] = entry
        receipt = Receipt(position, visit, entry_id, hash_, received, source)
        self.receipts.append(receipt)
        self._receipt_of[entry_id] = receipt
        self.latest[device] = max(entry_id, self.latest.get(device, ""))
        # Taken out and put back at the end, which keeps the visits in the order they were last touched.
        self.last_of.pop(visit, None)
        self.last_of[visit] = position


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


def _line(parts: Sequence[bytes], hashes: Sequence[str], position: int, received: int, source: str) -> bytes:
    """A change: the canonical bytes of its entries as they are, then what the chain and the feed say of them."""
    coded = b",".join(b'"%b"' % base64.b64encode(bytes.fromhex(hash_)) for hash_ in hashes)
    tail = b',"s":%b' % json.dumps(source).encode() if source else b""
    return b'{"e":[%b],"h":[%b],"p":%d,"r":%d%b}' % (b",".join(parts), coded, position, received, tail)
