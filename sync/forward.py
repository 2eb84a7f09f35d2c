"""The hop out: hands a store's entries on to the next node, and fetches from it the visits this one lacks.

It keeps a watermark beside the entries and sends what lies after it, so an outage of any length costs no memory. All of
it may be done twice without harm. Pulled are whole visits that are not finished, and any this store holds part of.
"""

import asyncio
import logging
import random
from collections.abc import Awaitable, Callable
from typing import Any

import httpx
from pydantic import BaseModel, Field

from sync import seal
from sync.clock import far_ahead, wall_ms
from sync.entry import Entry, Refusal, check_envelope, time_text
from sync.errors import HopError, SyncError
from sync.line import Batch, Line, as_model, batches
from sync.models import Answer, Entries, HeadModel, VisitModel, Visits
from sync.routes import FINISHED
from sync.store import BATCH, Page, Store, position_of

__all__ = ["UPSTREAM", "Forward", "Upstream"]

UPSTREAM = "upstream"

POLL_SECONDS = 5.0
BACK_OFF_SECONDS = (1.0, 30.0)
OFFER_AGAIN_MS = 24 * 3600 * 1000

_log = logging.getLogger(__name__)

Wait = Callable[[asyncio.Event, float], Awaitable[None]]


class Turned(BaseModel):
    """An entry the other side refused: why, and when it was last offered (ms since 1970)."""

    field: str
    why: str
    offered: int


class Upstream(BaseModel):
    """What is remembered of the other side, kept beside the entries.

    `sent` and `visits` are cursors, of our feed and of their list of visits. Up to position `whole` of our feed also
    what came from them is offered, since they may have lost it.
    """

    head: HeadModel | None = None
    own: HeadModel | None = None
    sent: str | None = None
    visits: str | None = None
    whole: int = 0
    refused: dict[str, Turned] = Field(default_factory=dict)
    last_sent: int = 0
    alarm: str = ""


class Forward:
    """The hop from `store` to the node at `base_url`. `start` it in a running event loop, `stop` it before closing.

    `client` is a client to use in place of an own one (its time limits count then). `now` gives ms since 1970, `chance`
    a number in 0-1, `wait` waits for an event or so many seconds; tests choose them.
    """

    def __init__(
        self,
        store: Store,
        base_url: str,
        token: str,
        *,
        client: httpx.AsyncClient | None = None,
        compress: bool = False,
        poll: float = POLL_SECONDS,
        now: Callable[[], int] = wall_ms,
        chance: Callable[[], float] = random.random,
        wait: Wait | None = None,
    ) -> None:
        self._store = store
        self._line = Line(base_url, token, client, compress)
        self._poll = poll
        self._now = now
        self._chance = chance
        self._wait = wait or _wait
        self._wake = asyncio.Event()
        self._task: asyncio.Task[None] | None = None
        self._unlisten: Callable[[], None] = lambda: None
        self._online = False
        self._error = ""
        self._state = Upstream.model_validate(store.kept(UPSTREAM) or {})
        if store.damaged:
            # The other side may still have what can no longer be read here: look at all its visits again.
            self._state.visits = None

    def start(self) -> None:
        loop = asyncio.get_running_loop()

        def heard() -> None:
            loop.call_soon_threadsafe(self._wake.set)

        self._unlisten = self._store.listen(heard)
        self._task = loop.create_task(self._run())
        self._task.add_done_callback(self._ended)

    async def stop(self) -> None:
        """End after what is under way is broken off; what was not acknowledged is sent again next time."""
        self._unlisten()
        if self._task:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)
        await self._line.close()

    def wake(self) -> None:
        """Go on at once, from the event loop's own thread."""
        self._wake.set()

    def status(self) -> dict[str, Any]:
        """For the lamp: whether the other side answered last, how many entries wait, how many it refused.

        {"online": bool, "pending": int, "refused": int, "last_sent": RFC 3339 or None, "last_error": str or None,
        "alarm": str or None}
        """
        state, head = self._state, self._store.head()
        return {
            "online": self._online,
            "pending": head.position - position_of(state.sent, head),
            "refused": len(state.refused),
            "last_sent": time_text(state.last_sent) if state.last_sent else None,
            "last_error": self._error or None,
            "alarm": state.alarm or None,
        }

    async def once(self) -> None:
        """One whole round: everything sent and fetched. Raises HopError, or StoreError when our own store fails."""
        try:
            for _ in range(3):
                try:
                    await self._round()
                    break
                except _StartAgain:
                    continue
            else:
                raise HopError("The store at the other side changes all the time.")
        except (SyncError, OSError) as error:
            self._online = self._online and not isinstance(error, HopError)
            self._error = str(error)
            raise
        self._online, self._error = True, ""

    async def _run(self) -> None:
        failures = 0
        while True:
            self._wake.clear()
            try:
                await self.once()
                failures = 0
            except (SyncError, OSError) as error:
                failures += 1
                _log.warning("hop out, failure %d: %s", failures, type(error).__name__)
            await self._pause(failures)

    async def _pause(self, failures: int) -> None:
        if not failures:
            await self._wait(self._wake, self._poll * (0.75 + self._chance() / 2))
            return
        shortest, longest = BACK_OFF_SECONDS
        seconds = max(shortest, min(longest, 2.0 ** min(failures, 10)) * (0.5 + self._chance() / 2))
        # New entries shorten the wait but never below the shortest, or a busy tablet would hammer a dead server.
        await self._wait(asyncio.Event(), shortest)
        await self._wait(self._wake, seconds - shortest)

    def _ended(self, task: asyncio.Task[None]) -> None:
        error = None if task.cancelled() else task.exception()
        if error:
            self._online, self._error = False, f"The hop stopped ({type(error).__name__}); start the node again."
            _log.error("hop out stopped: %s", type(error).__name__)

    async def _round(self) -> None:
        await asyncio.to_thread(self._compare_own)
        await self._offer_refused()
        await self._push()
        await self._pull()
        # What was pulled has moved our head; this takes the watermark past it without sending it back.
        await self._push()

    async def _push(self) -> None:
        more = True
        while more:
            page = await asyncio.to_thread(self._next_page)
            await self._offer(page.entries)
            more = page.more
            if page.cursor != self._state.sent:
                self._state.sent = page.cursor
                await self._save()

    def _next_page(self) -> Page:
        position = position_of(self._state.sent, self._store.head())
        not_from = "" if position < self._state.whole else UPSTREAM
        return self._store.since(self._state.sent, BATCH, not_from=not_from)

    async def _offer(self, entries: list[Entry]) -> None:
        head = as_model(await asyncio.to_thread(self._store.head))
        for batch in await asyncio.to_thread(batches, entries, head):
            answer = await self._line.post("/sync/entries", batch.body, Answer)
            self._take_answer(batch, answer)
            self._notice(answer.head)

    async def _offer_refused(self) -> None:
        now = self._now()
        due = [key for key, turned in self._state.refused.items() if now - turned.offered >= OFFER_AGAIN_MS]
        for start in range(0, len(due), BATCH):
            await self._offer(await asyncio.to_thread(self._found, due[start : start + BATCH]))
            await self._save()

    def _found(self, ids: list[str]) -> list[Entry]:
        return [entry for entry in map(self._store.get, ids) if entry]

    def _take_answer(self, batch: Batch, answer: Answer) -> None:
        now, state = self._now(), self._state
        done = {*answer.stored, *answer.settled}
        turned = {refused.id: refused for refused in answer.refused if refused.id}
        silent = batch.ids - done - turned.keys()
        if silent:
            raise HopError(f"The other side did not say what became of {len(silent)} entries.")
        for entry_id in batch.ids:
            state.refused.pop(entry_id, None)
            if entry_id not in done:
                why = turned[entry_id]
                state.refused[entry_id] = Turned(field=why.field, why=why.why, offered=now)
        if answer.stored:
            state.last_sent = now

    async def _pull(self) -> None:
        more = True
        while more:
            page = await self._line.get("/sync/visits", Visits, after=self._state.visits)
            self._notice(page.head)
            for card in page.visits:
                if await asyncio.to_thread(self._lacks, card):
                    await self._pull_visit(card.visit)
            more = page.more
            if page.cursor != self._state.visits:
                self._state.visits = page.cursor
                await self._save()

    def _lacks(self, card: VisitModel) -> bool:
        held = self._store.touched(card.visit)
        if held is None:
            return card.state != FINISHED
        return held.entries != card.entries or seal.digest(self._store.visit(card.visit)) != card.digest

    async def _pull_visit(self, visit: str) -> None:
        after, more = None, True
        while more:
            page = await self._line.get("/sync/entries", Entries, visit=visit, after=after)
            await asyncio.to_thread(self._take_in, page.entries)
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
        self._state.own = as_model(own)

    def _notice(self, head: HeadModel) -> None:
        """Compare the other side's head with the one it had. Raises _StartAgain when it has lost or changed entries."""
        known, self._state.head = self._state.head, head
        alarm = _compare(known, head)
        if alarm:
            self._state.alarm = f"{time_text(self._now())}: {alarm}"
            _log.error("hop out: %s", alarm)
            self._begin_anew()
            raise _StartAgain

    def _begin_anew(self) -> None:
        self._state.sent = self._state.visits = None
        self._state.whole = self._store.head().position

    async def _save(self) -> None:
        self._state.own = as_model(await asyncio.to_thread(self._store.head))
        await asyncio.to_thread(self._store.keep, UPSTREAM, self._state.model_dump())


class _StartAgain(Exception):
    """The other side is not what it was: everything is offered again."""


def _why_not(entry: Entry, now: int) -> Refusal | None:
    wrong = check_envelope(entry)
    if wrong is None and far_ahead(entry["clock"][0], now):
        return Refusal("clock", "the clock is more than 366 days ahead")
    return wrong


def _compare(known: HeadModel | None, head: HeadModel) -> str:
    if known is None or known == head:
        return ""
    if head.epoch != known.epoch:
        return "The store at the other side is another one; everything is offered again."
    if head.position < known.position:
        return "The store at the other side has lost entries; everything is offered again."
    if head.position == known.position:
        return "The store at the other side was changed; everything is offered again."
    return ""


async def _wait(event: asyncio.Event, seconds: float) -> None:
    try:
        async with asyncio.timeout(max(seconds, 0)):
            await event.wait()
    except TimeoutError:
        return
