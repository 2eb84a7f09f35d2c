"""What a store must do: keep entries for ever, in the order they came, and say so only when they are on disk.

Two stores do it: `tiny_store.TinyStore` (a data folder) and `sql_store.SqlStore` (a database url).
Their calls block; a server makes them in a worker thread. All of them may be called from any thread.
"""

import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple, Protocol

from sync.entry import Entry, Refusal, canonical
from sync.erased import Erasure, same
from sync.errors import CursorError
from sync.journal import Damage

__all__ = [
    "BATCH",
    "SAME_ID",
    "Added",
    "Filed",
    "Head",
    "Link",
    "Listeners",
    "Page",
    "Record",
    "Store",
    "Touched",
    "TouchedPage",
    "cursor_at",
    "position_of",
    "runs",
    "sort_batch",
]

BATCH = 500

SAME_ID = Refusal("id", "another entry has this id", "Tell whoever looks after the tablets: two of them made one id.")


class Head(NamedTuple):
    """Where a store's chain stands: which store, how many entries, and the hash over all of them (64 hex digits)."""

    epoch: str
    position: int
    hash: str


@dataclass(frozen=True)
class Added:
    """What became of a batch.

    `stored` names every entry of the batch that is on disk now, new or known before; `new` only the first sort;
    `refused` the entries whose id already belongs to an entry with other bytes.
    """

    stored: list[str] = field(default_factory=list)
    new: list[str] = field(default_factory=list)
    refused: list[tuple[Entry, Refusal]] = field(default_factory=list)


class Page(NamedTuple):
    """A stretch of the feed, in the order of receipt. `cursor` is where to go on, `more` says whether there is more."""

    entries: list[Entry]
    cursor: str
    more: bool


class Touched(NamedTuple):
    """A visit of the feed of visits: how many entries it holds and the feed position of the last of them."""

    visit: str
    entries: int
    position: int


class TouchedPage(NamedTuple):
    visits: list[Touched]
    cursor: str
    more: bool


class Link(NamedTuple):
    """One entry as the chain holds it. `data` are its canonical bytes; `received` is when, in ms since 1970.

    `bare` says that its value was replaced by the value's digest. Of a purged entry there is only the `leaf`.
    """

    position: int
    data: bytes
    hash: str
    received: int
    source: str = ""
    bare: bool = False
    leaf: bytes = b""


class Record(NamedTuple):
    """One refused entry of the drawer, kept as it came.

    `key` is the digest of what came and names it; `device` is who sent it; `at` when it came first, in ms since 1970;
    `settled` says that the manager has dealt with it, so that its sender may stop offering it.
    """

    key: str
    entry: Any
    refusal: Refusal
    device: str
    at: int
    settled: bool


class Filed(NamedTuple):
    """Where in the drawer something is, and whether the manager has dealt with it."""

    key: str
    settled: bool


class Store(Protocol):
    @property
    def epoch(self) -> str:
        """Names this store for life; a restored copy gets a new one."""

    @property
    def damaged(self) -> Sequence[Damage]:
        """What can no longer be read of it."""

    def add(self, entries: Sequence[Entry], *, source: str = "") -> Added:
        """Keep entries that passed `check_envelope`. Returns after they are on disk.

        `source` marks where they came from, so that they need not be sent back there (see `since`).
        Raises StoreFull (nothing kept, try later) or StoreBroken (open again).
        """

    def get(self, entry_id: str) -> Entry | None: ...

    def visit(self, visit: str) -> list[Entry]:
        """All entries of a visit in (clock, id) order; [] for a visit nobody knows. Do not change them."""

    def since(
        self, cursor: str | None = None, limit: int = BATCH, *, visit: str = "", not_from: str = "", only_from: str = ""
    ) -> Page:
        """Entries in the order of receipt, after `cursor` (None: from the first).

        `visit` keeps to one visit; `not_from` leaves out what was added with that `source`, `only_from` all else.
        A cursor of another store, or one past the head, starts from the first. Raises CursorError on nonsense.
        """

    def visits(self, cursor: str | None = None, limit: int = BATCH) -> TouchedPage:
        """Visits touched after `cursor`, the least recently touched first. Follow it to keep summaries up to date."""

    def touched(self, visit: str) -> Touched | None:
        """Count and last position of one visit."""

    def head(self) -> Head: ...

    def hash_at(self, position: int) -> str:
        """The chain's hash after so many entries (64 hex digits); "" when there is no such entry."""

    def links(self, visit: str = "") -> Iterator[Link]:
        """The chain from the first entry after `cut`, for `seal.verify`; with `visit` the links of that visit only."""

    def cut(self) -> Head:
        """Where the chain that is still here begins; position 0 where nothing was purged."""

    def erasures(self) -> dict[str, Erasure]:
        """The erasures this store has heard of, by the id of the entry they name."""

    def fill(self, links: Iterable[Link], drawer: Iterable[Record] = (), kept: Mapping[str, Any] | None = None) -> None:
        """Put what a backup holds into this store, which is empty: entries with when they came and from where.

        They get a chain of this store's own; purged ones are left out. Raises StoreNotEmpty with nothing changed.
        """

    def received(self, visit: str) -> dict[str, int]:
        """When each entry of a visit reached this store, in ms since 1970; against `at` it shows a wrong clock."""

    def latest(self, device: str) -> Entry | None:
        """The entry of this device with the highest id, from which its `Stamper` goes on after a restart."""

    def refuse(self, entry: Any, refusal: Refusal, device: str = "") -> Filed:
        """Put what came into the drawer, once however often it comes."""

    def refuse_all(self, refused: Sequence[tuple[Any, Refusal]], device: str = "") -> list[Filed]:
        """The same for what a device sent together; a database waits for its disk once."""

    def refused(self) -> list[Record]:
        """All records of the drawer, the oldest first."""

    def refused_count(self) -> int:
        """How many records of the drawer are not settled."""

    def settle(self, key: str) -> bool:
        """Mark a record of the drawer as dealt with. False if there is none."""

    def keep(self, name: str, value: Any) -> None:
        """Remember a small JSON value beside the entries (watermarks, the other side's head)."""

    def keep_all(self, values: Mapping[str, Any]) -> None:
        """The same for several of them, in one write."""

    def kept(self, name: str) -> Any:
        """The value last kept under this name, or None."""

    def all_kept(self) -> dict[str, Any]:
        """Every value kept, by name."""

    def named(self, names: Iterable[str]) -> set[str]:
        """Which of these attachments (SHA-256) some entry names."""

    def erased_attachments(self) -> set[str]:
        """Attachments that were erased and that no entry names any more: their bytes have to go."""

    def listen(self, heard: Callable[[], None], *, erasures: bool = False) -> Callable[[], None]:
        """Call `heard` after every batch with new entries, in the thread that added it. Returns the way to stop.

        With `erasures` only after a batch with an erasure in it.
        """

    def close(self) -> None: ...


def sort_batch(entries: Sequence[Entry], known: Callable[[str], bytes | None]) -> tuple[Added, list[bytes]]:
    """Part a batch into what is new, what is there already, and what has another entry's id.

    `known` gives the canonical bytes of an entry in the store. Returns the result and the canonical bytes of what is
    new, in the order of the batch.
    """
    fresh: dict[str, bytes] = {}
    stored: dict[str, None] = {}
    refused: list[tuple[Entry, Refusal]] = []
    for entry in entries:
        entry_id, data = entry["id"], canonical(entry)
        held = fresh.get(entry_id) or known(entry_id)
        if held is None:
            fresh[entry_id] = data
        elif not same(held, data):
            refused.append((entry, SAME_ID))
            continue
        stored[entry_id] = None
    return Added(list(stored), list(fresh), refused), list(fresh.values())


def runs(links: Iterable[Link]) -> Iterator[list[Link]]:
    """Links of a backup in the batches they came in (at most 500), purged ones left out."""
    run: list[Link] = []
    for link in links:
        if link.leaf:
            continue
        if run and ((link.received, link.source) != (run[0].received, run[0].source) or len(run) == BATCH):
            yield run
            run = []
        run.append(link)
    if run:
        yield run


class Listeners:
    """Those who want to know of new entries, all of them or only those with an erasure among them."""

    def __init__(self) -> None:
        self._heard: list[tuple[Callable[[], None], bool]] = []
        self._lock = threading.Lock()

    def listen(self, heard: Callable[[], None], erasures: bool) -> Callable[[], None]:
        with self._lock:
            self._heard.append((heard, erasures))

        def stop() -> None:
            with self._lock:
                if (heard, erasures) in self._heard:
                    self._heard.remove((heard, erasures))

        return stop

    def tell(self, erasing: bool) -> None:
        with self._lock:
            heard = [call for call, erasures in self._heard if erasing or not erasures]
        for call in heard:
            call()


def cursor_at(epoch: str, position: int) -> str:
    """A cursor: opaque to those who carry it. It holds the epoch, so that a store replaced by another is noticed."""
    return f"{epoch}-{position}"


def position_of(cursor: str | None, head: Head) -> int:
    """The position after which to go on: 0 for no cursor, another store's, or one past the head of a restored store.

    Raises CursorError when it was never a cursor.
    """
    if cursor is None:
        return 0
    epoch, dash, number = cursor.rpartition("-")
    if not (dash and epoch and number.isascii() and number.isdigit() and len(number) < 19):
        raise CursorError("This is not a cursor.", field="after")
    position = int(number)
    return position if epoch == head.epoch and position <= head.position else 0
