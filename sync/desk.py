"""The desk of a node: takes entries in and says what it holds. What the API answers, without HTTP and without threads.

What `stored` names is on disk. Entries that are refused go to the drawer and never block those behind.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple

from sync import seal
from sync.access import Device
from sync.attached import names_in
from sync.backup import backed_up_at, is_backed_up
from sync.blobs import FolderBlobs
from sync.clock import far_ahead, wall_ms
from sync.entry import Entry, Refusal, check_envelope
from sync.erased import ERASURE
from sync.heard import note_waiting
from sync.models import Answer, Batch, Entries, HeadModel, RefusedModel, VisitModel, Visits
from sync.store import BATCH, Store, Touched

__all__ = ["FINISHED", "Check", "Desk", "State"]

Check = Callable[[Entry], Refusal | None]
State = Callable[[list[Entry]], str]

FINISHED = "finished"

_CARDS_MAX = 4096
_REMOVED = Refusal("device", "this device was removed from the clinic's devices", "Ask the practice manager.")
_NOT_YOURS = Refusal("device", "a tablet hands in entries of its own only", "Pair this tablet again.")
_NOT_ERASED = Refusal("kind", "a tablet erases nothing", "Ask the practice manager to erase it at the clinic server.")
_WRONG_CLOCK = Refusal("clock", "the clock is more than 366 days ahead", "Set the date of the device that made it.")


class Desk:
    """`check` refuses entries the application cannot take, `state` gives a visit's state from its entries.

    All calls block; they may come from any thread.
    """

    def __init__(
        self,
        store: Store,
        check: Check | None = None,
        state: State | None = None,
        now: Callable[[], int] = wall_ms,
        blobs: FolderBlobs | None = None,
    ) -> None:
        self._store = store
        self._check = check
        self._now = now
        self._blobs = blobs
        self._cards = _Cards(store, state)

    def take(self, batch: Batch, device: Device) -> Answer:
        """Returns when all of it is on disk. Raises StoreError with nothing acknowledged."""
        now = self._now()
        holds = self._holds(batch.known)
        looked_at = [(raw, self._why_not(raw, device, now)) for raw in batch.entries]
        added = self._store.add([raw for raw, refusal in looked_at if refusal is None])
        refused = [(raw, refusal) for raw, refusal in looked_at if refusal is not None]
        answer = self._answer(added.stored, [*refused, *added.refused], device)
        notes = _Notes(self._store)
        if batch.waiting is not None:
            note_waiting(notes, device.id, batch.waiting)
        yours = _remember(notes, device, batch.head)
        notes.write()
        return answer.model_copy(update={"holds": holds, "yours": yours})

    def entries(self, visit: str = "", after: str | None = None, limit: int = BATCH) -> Entries:
        head = HeadModel.of(self._store.head())
        page = self._store.since(after, limit, visit=visit)
        return Entries(entries=page.entries, cursor=page.cursor, more=page.more, head=head)

    def visits(self, after: str | None = None, limit: int = 100, known: str | None = None) -> Visits:
        """Raises CursorError when `after` never was a cursor or `known` no head."""
        # The head first: it may be older than the page, never newer; nobody must believe to have more than was sent.
        head = HeadModel.of(self._store.head())
        page = self._store.visits(after, limit)
        holds = self._holds(HeadModel.of_text(known) if known else None)
        cards = self._as_cards(page.visits)
        return Visits(visits=cards, cursor=page.cursor, more=page.more, head=head, holds=holds)

    def visit(self, visit: str) -> VisitModel:
        """One visit of the list; one without entries for a visit nobody here knows."""
        touched = self._store.touched(visit)
        if touched is None:
            return VisitModel(visit=visit, entries=0, digest=seal.digest([]), state="open")
        return self._as_cards([touched])[0]

    def _as_cards(self, visits: Sequence[Touched]) -> list[VisitModel]:
        backed_up, at = is_backed_up(self._store), backed_up_at(self._store)
        cards: list[VisitModel] = []
        for visit in visits:
            card, names = self._cards.card(visit)
            safe = backed_up(visit) and self._were_here(names, at)
            cards.append(card.model_copy(update={"backed_up": safe}))
        return cards

    def _were_here(self, names: Iterable[str], at: int | None) -> bool:
        """Whether attachments' bytes were here when the backup was taken; without an own backup others have looked."""
        if self._blobs is None or at is None:
            return True
        came = map(self._blobs.since, names)
        return all(since is not None and since <= at for since in came)

    def _holds(self, known: HeadModel | None) -> bool:
        """Whether a head once given out is still part of the chain.

        Of another store's chain nothing can be said, nor of what was purged.
        """
        head = self._store.head()
        if known is None or known.epoch != head.epoch or known.position < self._store.cut().position:
            return True
        held = head.hash if known.position == head.position else self._store.hash_at(known.position)
        return held == known.hash

    def _why_not(self, raw: Any, device: Device, now: int) -> Refusal | None:
        wrong = check_envelope(raw)
        if wrong:
            return wrong
        if device.revoked:
            return _REMOVED
        if device.kind == "tablet" and raw["device"] != device.id:
            return _NOT_YOURS
        if raw["kind"] == ERASURE and device.kind != "node":
            return _NOT_ERASED
        if far_ahead(raw["clock"][0], now):
            return _WRONG_CLOCK
        return self._check(raw) if self._check else None

    def _answer(self, stored: list[str], refused: list[tuple[Any, Refusal]], device: Device) -> Answer:
        told: list[RefusedModel] = []
        settled: list[str] = []
        filed = self._store.refuse_all(refused, device.id)
        for (raw, refusal), where in zip(refused, filed, strict=True):
            entry_id = _id_of(raw)
            if where.settled and entry_id is not None:
                settled.append(entry_id)
            else:
                told.append(RefusedModel(id=entry_id, field=refusal.field, why=refusal.why, do=refusal.do))
        head = HeadModel.of(self._store.head())
        return Answer(stored=stored, refused=told, settled=settled, head=head, epoch=head.epoch)


class _Notes:
    """Small values about a sender, kept in one write: each of its own would wait for the disk once more."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._values: dict[str, Any] = {}

    def kept(self, name: str) -> Any:
        return self._store.kept(name)

    def keep(self, name: str, value: Any) -> None:
        self._values[name] = value

    def write(self) -> None:
        if self._values:
            self._store.keep_all(self._values)


def _remember(notes: _Notes, device: Device, head: HeadModel | None) -> HeadModel | None:
    """Keep a node's head, the furthest it had. Returns the one that was kept before.

    A call may arrive after one that was made later: a head further back says nothing by itself.
    """
    name = f"head of {device.id}"
    kept = notes.kept(name)
    before = HeadModel.model_validate(kept) if kept else None
    if head and (before is None or before.epoch != head.epoch or before.position < head.position):
        notes.keep(name, head.model_dump())
    return before


class _Card(NamedTuple):
    """`attachments` are named by entries of the visit."""

    card: VisitModel
    attachments: tuple[str, ...]


class _Cards:
    """What the list of visits says of each; kept until the visit gets another entry."""

    def __init__(self, store: Store, state: State | None) -> None:
        self._store = store
        self._state = state
        self._guard = threading.Lock()
        self._known: OrderedDict[str, tuple[int, _Card]] = OrderedDict()

    def card(self, touched: Touched) -> "_Card":
        with self._guard:
            position, card = self._known.get(touched.visit, (0, None))
        if card is None or position != touched.position:
            card = self._draw(touched.visit)
            self._remember(touched, card)
        return card

    def _draw(self, visit: str) -> "_Card":
        entries = self._store.visit(visit)
        state = self._state(entries) if self._state else "open"
        card = VisitModel(visit=visit, entries=len(entries), digest=seal.digest(entries), state=state)
        return _Card(card, tuple(names_in(entries)))

    def _remember(self, touched: Touched, card: "_Card") -> None:
        with self._guard:
            self._known[touched.visit] = (touched.position, card)
            if len(self._known) > _CARDS_MAX:
                self._known.popitem(last=False)


def _id_of(raw: Any) -> str | None:
    entry_id = raw.get("id") if isinstance(raw, dict) else None
    return entry_id[:80] if isinstance(entry_id, str) and entry_id.isascii() else None
