"""Entries in a TinyDB: a data folder for one node.

    entries.jsonl   the journal under TinyDB: a line per change; written anew only to erase a value or to purge visits
    refused.jsonl   the drawer
    kept.json       small values beside the entries: how far they were sent, the other side's head
    lock            held by the one process that writes

All entries stay in memory, about 1-1.5 MB per 1,000; a clinic server with many uses `sql_store.SqlStore`.
"""

import json
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from sync.atomic import make_folder, replace_file
from sync.attached import erased_in, names_in
from sync.clock import wall_ms
from sync.disk import DISK, Disk
from sync.drawer import Drawer
from sync.entry import Entry, Refusal, in_order
from sync.erased import Erasure, may_erase
from sync.errors import StoreBroken, StoreFull, StoreMissing, StoreNotEmpty, StoreReadOnly
from sync.journal import Damage
from sync.journal_db import JournalDB, JournalStorage, JournalTable, Receipt
from sync.store import (
    BATCH,
    Added,
    Filed,
    Head,
    Link,
    Listeners,
    Page,
    Record,
    Touched,
    TouchedPage,
    cursor_at,
    position_of,
    runs,
    sort_batch,
)

__all__ = ["JournalDB", "JournalStorage", "JournalTable", "TinyStore"]


class TinyStore:
    """A `Store` in a folder. With `write=False` it takes no lock and reads to the last whole line.

    Raises StoreInUse, StoreNewer, StoreFull, StoreBroken; StoreMissing when there is nothing to read.
    """

    def __init__(
        self, folder: Path | str, *, write: bool = True, now: Callable[[], int] = wall_ms, disk: Disk = DISK
    ) -> None:
        self.folder = Path(folder)
        self._now = now
        self._disk = disk
        self._guard = threading.RLock()
        self._listeners = Listeners()
        if write:
            self._make_folder()
        elif not disk.exists(self.folder / "entries.jsonl"):
            raise StoreMissing(f"There is no store in {self.folder}.")
        self._lock = disk.lock(self.folder / "lock") if write else None
        try:
            self.db = JournalDB(self.folder / "entries.jsonl", write=write, now=now, disk=disk)
            self._drawer = self._open_drawer(write)
        except BaseException:
            self._release()
            raise
        self._kept = _read_kept(self.folder / "kept.json", disk)

    @property
    def epoch(self) -> str:
        return self._journal.epoch

    @property
    def damaged(self) -> list[Damage]:
        """Lines of the journal that can no longer be read."""
        return self._journal.damaged

    @property
    def torn(self) -> int:
        """Bytes of an unfinished change that were cut off, and kept, when the store was opened."""
        return self._journal.torn

    @property
    def _journal(self) -> JournalStorage:
        return self.db.storage

    def add(self, entries: Sequence[Entry], *, source: str = "") -> Added:
        with self._guard:
            added, fresh = sort_batch(entries, self._journal.data)
            if fresh:
                touched = self._journal.append(fresh, source=source)
                for visit in touched:
                    self.db.table(visit).clear_cache()
        if fresh:
            self._listeners.tell(may_erase(fresh))
        return added

    def get(self, entry_id: str) -> Entry | None:
        return self._journal.entry(entry_id)

    def visit(self, visit: str) -> list[Entry]:
        with self._guard:
            return in_order(self._journal.tables.get(visit, {}).values())

    def since(
        self, cursor: str | None = None, limit: int = BATCH, *, visit: str = "", not_from: str = "", only_from: str = ""
    ) -> Page:
        with self._guard:
            head = self.head()
            after = position_of(cursor, head)
            receipts = self._journal.of_visit(visit, after) if visit else self._journal.after(after)
            page: list[Receipt] = []
            for receipt in receipts:
                if len(page) == limit:
                    return Page(self._entries(page), cursor_at(head.epoch, page[-1].position), True)
                if not (not_from and receipt.source == not_from) and only_from in ("", receipt.source):
                    page.append(receipt)
            return Page(self._entries(page), cursor_at(head.epoch, head.position), False)

    def visits(self, cursor: str | None = None, limit: int = BATCH) -> TouchedPage:
        with self._guard:
            head = self.head()
            found = [self._touched(visit) for visit in self._journal.visits_after(position_of(cursor, head))]
        more = len(found) > limit
        return TouchedPage(
            found[:limit], cursor_at(head.epoch, found[limit - 1].position if more else head.position), more
        )

    def touched(self, visit: str) -> Touched | None:
        with self._guard:
            return self._touched(visit) if visit in self._journal.tables else None

    def head(self) -> Head:
        return self._journal.head

    def hash_at(self, position: int) -> str:
        return self._journal.hash_at(position)

    def links(self, visit: str = "") -> Iterator[Link]:
        return self._journal.links_of(visit) if visit else self._journal.links()

    def cut(self) -> Head:
        return self._journal.cut

    def erasures(self) -> dict[str, Erasure]:
        return dict(self._journal.erasures)

    def fill(self, links: Iterable[Link], drawer: Iterable[Record] = (), kept: Mapping[str, Any] | None = None) -> None:
        with self._guard:
            if self.head().position:
                raise StoreNotEmpty(f"There are entries in {self.folder}.")
            for run in runs(links):
                self._journal.append([link.data for link in run], source=run[0].source, received=run[0].received)
            for record in drawer:
                self._drawer.take(record)
            for name, value in (kept or {}).items():
                self.keep(name, value)

    def purge_unless_touched(self, visits: Mapping[str, int]) -> int:
        """`purge`, but for visits that got an entry after the position given for them."""
        with self._guard:
            untouched = [visit for visit, position in visits.items() if self._journal.last_of.get(visit) == position]
            return self.purge(untouched)

    def purge(self, visits: Iterable[str]) -> int:
        """Let go of these visits for good; returns how many entries went.

        The chain still holds from where it is `cut` to its head: of every entry that went its leaf stays, until all
        before it went too. Raises StoreFull or StoreBroken with nothing purged.
        """
        given = set(visits)
        with self._guard:
            gone = self._journal.purge(given)
            for visit in given:
                self.db.table(visit).clear_cache()
        return gone

    def received(self, visit: str) -> dict[str, int]:
        with self._guard:
            return {receipt.id: receipt.received for receipt in self._journal.of_visit(visit)}

    def latest(self, device: str) -> Entry | None:
        entry_id = self._journal.latest.get(device)
        return self.get(entry_id) if entry_id else None

    def refuse(self, entry: Any, refusal: Refusal, device: str = "") -> Filed:
        return self.refuse_all([(entry, refusal)], device)[0]

    def refuse_all(self, refused: Sequence[tuple[Any, Refusal]], device: str = "") -> list[Filed]:
        with self._guard:
            return [self._drawer.put(entry, refusal, device, self._now()) for entry, refusal in refused]

    def refused(self) -> list[Record]:
        with self._guard:
            return self._drawer.all()

    def refused_count(self) -> int:
        return len(self._drawer)

    def settle(self, key: str) -> bool:
        with self._guard:
            return self._drawer.settle(key)

    def keep(self, name: str, value: Any) -> None:
        self.keep_all({name: value})

    def keep_all(self, values: Mapping[str, Any]) -> None:
        if not self._lock:
            raise StoreReadOnly(f"{self.folder} was opened for reading.")
        with self._guard:
            kept = {**self._kept, **values}
            if any(self._kept.get(name) != value for name, value in values.items()):
                try:
                    replace_file(self.folder / "kept.json", json.dumps(kept).encode(), self._disk)
                except OSError as error:
                    raise StoreFull(f"kept.json could not be written: {error.strerror}.") from error
                self._kept = kept

    def kept(self, name: str) -> Any:
        return self._kept.get(name)

    def all_kept(self) -> dict[str, Any]:
        return dict(self._kept)

    def named(self, names: Iterable[str]) -> set[str]:
        with self._guard:
            every = names_in(entry for table in self._journal.tables.values() for entry in table.values())
            return set(names).intersection(every)

    def erased_attachments(self) -> set[str]:
        with self._guard:
            entries = filter(None, (self.get(erasure.by) for erasure in self._journal.erasures.values()))
            erased = set(filter(None, map(erased_in, entries)))
            return erased - self.named(erased) if erased else erased

    def listen(self, heard: Callable[[], None], *, erasures: bool = False) -> Callable[[], None]:
        return self._listeners.listen(heard, erasures)

    def close(self) -> None:
        with self._guard:
            self.db.close()
            self._drawer.close()
            self._release()

    def _touched(self, visit: str) -> Touched:
        return Touched(visit, len(self._journal.tables[visit]), self._journal.last_of[visit])

    def _entries(self, receipts: Iterable[Receipt]) -> list[Entry]:
        return [self._journal.tables[receipt.visit][receipt.id] for receipt in receipts]

    def _make_folder(self) -> None:
        try:
            make_folder(self.folder, self._disk)
        except OSError as error:
            raise StoreBroken(f"The folder {self.folder} could not be made: {error.strerror}.") from error

    def _open_drawer(self, write: bool) -> Drawer:
        try:
            return Drawer(self.folder / "refused.jsonl", write=write, disk=self._disk)
        except BaseException:
            self.db.close()
            raise

    def _release(self) -> None:
        if self._lock:
            self._lock.release()
            self._lock = None


def _read_kept(path: Path, disk: Disk) -> dict[str, Any]:
    """What was kept; nothing for a missing file. Losing it costs only that everything is offered again."""
    try:
        with disk.read(path) as file:
            kept = json.loads(file.read())
    except (FileNotFoundError, ValueError):
        return {}
    return kept if isinstance(kept, dict) else {}
