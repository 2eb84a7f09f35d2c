"""Letting go, at a node, of visits that are done with: finished, old, and inside the clinic's last verified backup.

The other side is asked about each such visit; only one of which it holds the very same entries, all of them in its
backup, goes, and with it the bytes of its attachments that no other visit names. Which of the visits here are in that
backup is remembered, so that tablets can be told.
"""

from collections.abc import Callable, Iterable, Iterator

from sync import seal
from sync.attached import names_in
from sync.backup import BACKED_UP_VISITS
from sync.blobs import FolderBlobs
from sync.clock import wall_ms
from sync.desk import FINISHED, State
from sync.hop import Call, Steps
from sync.models import VisitModel
from sync.store import Touched
from sync.tiny_store import TinyStore

__all__ = ["DAY_MS", "Purge"]

_LETTING_GO = "letting go of blobs"

DAY_MS = 24 * 3600 * 1000


class Purge:
    """`state` gives a visit's state from its entries; `days` is how long a visit stays after its last entry came.

    `blobs` are the attachments beside the entries.
    """

    def __init__(
        self,
        store: TinyStore,
        state: State,
        days: int,
        now: Callable[[], int] = wall_ms,
        blobs: FolderBlobs | None = None,
    ) -> None:
        self._store = store
        self._state = state
        self._keep_ms = days * DAY_MS
        self._now = now
        self._blobs = blobs
        self.purged = 0

    def round(self) -> Steps[None]:
        """Ask about every finished visit, let go of the old ones. Raises HopError; StoreError with nothing purged."""
        now = self._now()
        certain: dict[str, int] = {}
        gone: list[str] = []
        for touched in list(self._visits()):
            if self._state(self._store.visit(touched.visit)) == FINISHED and (yield from self._is_safe(touched)):
                certain[touched.visit] = touched.position
                if now - max(self._store.received(touched.visit).values()) > self._keep_ms:
                    gone.append(touched.visit)
        self._store.keep(BACKED_UP_VISITS, {visit: at for visit, at in certain.items() if visit not in gone})
        attached = {name for visit in gone for name in names_in(self._store.visit(visit))}
        if attached:
            # Noted first: once the entries are gone nothing else here knows the names.
            self._store.keep(_LETTING_GO, sorted(attached.union(self._store.kept(_LETTING_GO) or ())))
        self.purged += self._store.purge_unless_touched({visit: certain[visit] for visit in gone})
        self._drop(self._store.kept(_LETTING_GO) or ())

    def _drop(self, names: Iterable[str]) -> None:
        """Let go of attachments of visits that went; also of those of an earlier round that was cut off."""
        gone = set(names)
        if gone and self._blobs:
            self._blobs.drop(gone - self._store.named(gone))
            self._store.keep(_LETTING_GO, [])

    def _visits(self) -> Iterator[Touched]:
        cursor, more = None, True
        while more:
            page = self._store.visits(cursor)
            yield from page.visits
            cursor, more = page.cursor, page.more

    def _is_safe(self, touched: Touched) -> Steps[bool]:
        """Whether the other side has this visit, as it is here, in its backup."""
        card = yield Call("GET", f"/sync/visits/{touched.visit}", VisitModel, {})
        same = card.entries == touched.entries and card.digest == seal.digest(self._store.visit(touched.visit))
        return bool(card.backed_up and same and self._store.touched(touched.visit) == touched)
