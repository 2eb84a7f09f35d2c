"""What the hop out says and in which order: a conversation over a store, without network, threads or a clock.

`Hop.round` is a generator: it yields the calls to make and is sent their answers, or is thrown the HopError of one that
failed. `forward.Forward` makes them over HTTP; a test may answer them as it likes.

It keeps a watermark beside the entries and sends what lies after it, so an outage of any length costs no memory. All of
it may be done twice without harm. Pulled are whole visits that are not finished, and any this store holds part of.
"""

import logging
from collections.abc import Callable, Generator, Iterable
from typing import Any, NamedTuple, TypeVar

from pydantic import BaseModel, Field

from sync import seal
from sync.border import BODY_MAX
from sync.clock import far_ahead, wall_ms
from sync.desk import FINISHED
from sync.entry import Entry, Refusal, canonical, check_envelope, time_text
from sync.errors import HopError
from sync.models import Answer, Entries, HeadModel, VisitModel, Visits
from sync.store import BATCH, Page, Store, position_of

__all__ = ["OFFER_AGAIN_MS", "UPSTREAM", "Blob", "Call", "Hop", "Steps", "Upstream"]

UPSTREAM = "upstream"

OFFER_AGAIN_MS = 24 * 3600 * 1000

# What is left of a body's limit is for the brackets and the heads.
_ENTRIES_BYTES = BODY_MAX - 64 * 1024

_log = logging.getLogger(__name__)


class Blob(BaseModel):
    """An answer that is bytes."""

    data: bytes


class Call(NamedTuple):
    """A call to the other side: GET with `params`, POST with a JSON `body`, or PUT with the bytes of one.

    `model` is the shape of its answer; `Blob` where that is bytes, of at most `blobs.BLOB_MAX`.
    """

    method: str
    path: str
    model: type[BaseModel]
    params: dict[str, str]
    body: bytes = b""


Result = TypeVar("Result")
# Sent are instances of the `model` of the call before.
Steps = Generator[Call, Any, Result]


class Turned(BaseModel):
    """An entry the other side refused: why, and when it was last offered (ms since 1970)."""

    field: str
    why: str
    offered: int


class Upstream(BaseModel):
    """What is remembered of the other side, kept beside the entries.

    `sent` and `visits` are cursors, of our feed and of their list of visits. Up to position `whole` of our feed also
    what came from them is offered, since they may have lost it. `excused` is a head of ours that they remember and that
    we have lost: said once.
    """

    head: HeadModel | None = None
    own: HeadModel | None = None
    excused: HeadModel | None = None
    sent: str | None = None
    visits: str | None = None
    whole: int = 0
    refused: dict[str, Turned] = Field(default_factory=dict)
    last_sent: int = 0
    alarm: str = ""


class Hop:
    """The hop from `store` to the next node. `now` gives ms since 1970."""

    def __init__(self, store: Store, now: Callable[[], int] = wall_ms) -> None:
        self._store = store
        self._now = now
        self._state = Upstream.model_validate(store.kept(UPSTREAM) or {})
        if store.damaged:
            # The other side may still have what can no longer be read here: look at all its visits again.
            self._state.visits = None

    def status(self) -> dict[str, Any]:
        """{"pending": int, "refused": int, "last_sent": RFC 3339 or None, "alarm": str or None}"""
        state, head = self._state, self._store.head()
        return {
            "pending": head.position - position_of(state.sent, head),
            "refused": len(state.refused),
            "last_sent": time_text(state.last_sent) if state.last_sent else None,
            "alarm": state.alarm or None,
        }

    def round(self) -> Steps[None]:
        """Everything sent and fetched. Raises HopError, or StoreError when our own store fails."""
        for _ in range(3):
            try:
                yield from self._round()
                return
            except _StartAgain:
                continue
        raise HopError("The store at the other side changes all the time.")

    def _round(self) -> Steps[None]:
        self._compare_own()
        yield from self._offer_refused()
        yield from self._push()
        yield from self._pull()
        # What was pulled has moved our head; this takes the watermark past it without sending it back.
        yield from self._push()

    def _push(self) -> Steps[None]:
        more = True
        while more:
            page = self._next_page()
            yield from self._offer(page.entries)
            more = page.more
            if page.cursor != self._state.sent:
                self._state.sent = page.cursor
                self._save()

    def _next_page(self) -> Page:
        position = position_of(self._state.sent, self._store.head())
        not_from = "" if position < self._state.whole else UPSTREAM
        return self._store.since(self._state.sent, BATCH, not_from=not_from)

    def _offer(self, entries: list[Entry]) -> Steps[None]:
        for portion in _portions(entries):
            answer = yield Call("POST", "/sync/entries", Answer, {}, self._body(portion))
            self._take_answer(portion.ids, answer)
            self._look_back(answer.yours)
            self._notice(answer.head, answer.holds)

    def _body(self, portion: "_Portion") -> bytes:
        head = self._store.head()
        heads = b'"head":%b' % HeadModel.of(head).model_dump_json().encode()
        after = head.position - position_of(self._state.sent, head) - len(portion.ids)
        heads += b',"waiting":%d' % max(after, 0)
        if self._state.head:
            heads += b',"known":%b' % self._state.head.model_dump_json().encode()
        return b'{"entries":[%b],%b}' % (b",".join(portion.parts), heads)

    def _offer_refused(self) -> Steps[None]:
        now = self._now()
        due = [key for key, turned in self._state.refused.items() if now - turned.offered >= OFFER_AGAIN_MS]
        for start in range(0, len(due), BATCH):
            found = map(self._store.get, due[start : start + BATCH])
            yield from self._offer([entry for entry in found if entry])
            self._save()

    def _take_answer(self, ids: set[str], answer: Answer) -> None:
        now, state = self._now(), self._state
        done = {*answer.stored, *answer.settled}
        turned = {refused.id: refused for refused in answer.refused if refused.id}
        silent = ids - done - turned.keys()
        if silent:
            raise HopError(f"The other side did not say what became of {len(silent)} entries.")
        for entry_id in ids:
            state.refused.pop(entry_id, None)
            if entry_id not in done:
                why = turned[entry_id]
                state.refused[entry_id] = Turned(field=why.field, why=why.why, offered=now)
        if answer.stored:
            state.last_sent = now

    def _pull(self) -> Steps[None]:
        more = True
        while more:
            state = self._state
            known = state.head.as_text() if state.head else None
            page = yield Call("GET", "/sync/visits", Visits, _given(after=state.visits, known=known))
            self._notice(page.head, page.holds)
            for card in page.visits:
                if self._lacks(card):
                    yield from self._pull_visit(card.visit)
            more = page.more
            if page.cursor != self._state.visits:
                self._state.visits = page.cursor
                self._save()

    def _lacks(self, card: VisitModel) -> bool:
        held = self._store.touched(card.visit)
        if held is None:
            return card.state != FINISHED
        return held.entries != card.entries or seal.digest(self._store.visit(card.visit)) != card.digest

    def _pull_visit(self, visit: str) -> Steps[None]:
        after, more = None, True
        while more:
            page = yield Call("GET", "/sync/entries", Entries, _given(visit=visit, after=after))
            self._take_in(page.entries)
            after, more = page.cursor, page.more

    def _take_in(self, entries: list[Entry]) -> None:
        now = self._now()
        looked_at = [(entry, _why_not(entry, now)) for entry in entries]
        added = self._store.add([entry for entry, refusal in looked_at if refusal is None], source=UPSTREAM)
        for entry, refusal in [*looked_at, *added.refused]:
            if refusal:
                self._store.refuse(entry, refusal, UPSTREAM)

    def _compare_own(self) -> None:
        """Begin anew when our own store was replaced, or put back to an earlier state, since the last round."""
        own, known = self._store.head(), self._state.own
        if known and (known.epoch != own.epoch or own.position < known.position):
            self._begin_anew()
        self._state.own = HeadModel.of(own)

    def _look_back(self, yours: HeadModel | None) -> None:
        """Compare what the other side remembers of our chain with the chain as it is.

        An old image of our disk brings its own old memory along; only another can tell. Raises _StartAgain.
        """
        own = self._store.head()
        if yours is None or yours == self._state.excused or yours.epoch != own.epoch:
            return
        if yours.position < self._store.cut().position:
            return
        if self._store.hash_at(yours.position) != yours.hash:
            self._state.excused = yours
            self._alarm("The store of this node was put back to an earlier state; everything is exchanged again.")

    def _notice(self, head: HeadModel, holds: bool) -> None:
        """Compare the other side's head with the one it had. Raises _StartAgain when it has lost or changed entries.

        `holds` is its own word on the head it had: entries lost may have been overtaken by others meanwhile.
        """
        known, self._state.head = self._state.head, head
        alarm = _compare(known, head, holds)
        if alarm:
            self._alarm(alarm)

    def _alarm(self, what: str) -> None:
        self._state.alarm = f"{time_text(self._now())}: {what}"
        _log.error("hop out: %s", what)
        self._begin_anew()
        self._save()
        raise _StartAgain

    def _begin_anew(self) -> None:
        self._state.sent = self._state.visits = None
        self._state.whole = self._store.head().position

    def _save(self) -> None:
        self._state.own = HeadModel.of(self._store.head())
        self._store.keep(UPSTREAM, self._state.model_dump())


class _Portion(NamedTuple):
    """Entries for one call, as canonical bytes, and their ids."""

    parts: list[bytes]
    ids: set[str]


class _StartAgain(Exception):
    """One of the two stores is not what it was: everything is offered again."""


def _given(**params: str | None) -> dict[str, str]:
    return {name: value for name, value in params.items() if value is not None}


def _portions(entries: Iterable[Entry]) -> list[_Portion]:
    """The entries in their order, parted so that each portion is within the limit of a call."""
    made: list[_Portion] = []
    size = _ENTRIES_BYTES
    for entry in entries:
        part = canonical(entry)
        size += len(part) + 1
        if size > _ENTRIES_BYTES:
            made.append(_Portion([], set()))
            size = len(part) + 1
        made[-1].parts.append(part)
        made[-1].ids.add(entry["id"])
    return made


def _why_not(entry: Entry, now: int) -> Refusal | None:
    wrong = check_envelope(entry)
    if wrong is None and far_ahead(entry["clock"][0], now):
        return Refusal("clock", "the clock is more than 366 days ahead")
    return wrong


def _compare(known: HeadModel | None, head: HeadModel, holds: bool) -> str:
    if known is None:
        return ""
    if head.epoch != known.epoch:
        return "The store at the other side is another one; everything is offered again."
    if head.position < known.position:
        return "The store at the other side has lost entries; everything is offered again."
    if not holds or (head.position == known.position and head.hash != known.hash):
        return "The store at the other side was changed; everything is offered again."
    return ""
