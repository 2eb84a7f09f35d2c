"""The hop out in the background: hands a store's entries on to the next node and fetches the visits this one lacks.

When that is done, and when again after a failure; what is said is `hop.Hop`'s.
"""

import asyncio
import logging
import random
from collections.abc import Awaitable, Callable
from typing import Any

import httpx

from sync.blobs import FolderBlobs
from sync.clock import wall_ms
from sync.errors import HopError, SyncError
from sync.fetch_blobs import BlobFetch
from sync.forward_blobs import BlobHop
from sync.hop import OFFER_AGAIN_MS, UPSTREAM, Call, Hop, Steps
from sync.line import Line
from sync.store import Store

__all__ = ["OFFER_AGAIN_MS", "UPSTREAM", "Forward"]

POLL_SECONDS = 5.0
BACK_OFF_SECONDS = (1.0, 30.0)

_log = logging.getLogger(__name__)

Wait = Callable[[asyncio.Event, float], Awaitable[None]]


class Forward:
    """The hop from `store` to the node at `base_url`. `start` it in a running event loop, `stop` it before closing.

    With `blobs` attachments go the same way, after the entries, and those the other side has are fetched.
    `client` is a client to use in place of an own one (its time limits count then). `now` gives ms since 1970, `chance`
    a number in 0-1, `wait` waits for an event or so many seconds; tests choose them.
    """

    def __init__(
        self,
        store: Store,
        base_url: str,
        token: str,
        *,
        blobs: FolderBlobs | None = None,
        client: httpx.AsyncClient | None = None,
        compress: bool = False,
        poll: float = POLL_SECONDS,
        now: Callable[[], int] = wall_ms,
        chance: Callable[[], float] = random.random,
        wait: Wait | None = None,
    ) -> None:
        self._store = store
        self._line = Line(base_url, token, client, compress)
        self._hop = Hop(store, now)
        self._blobs = BlobHop(store, blobs, now) if blobs else None
        self._fetch = BlobFetch(store, blobs, now) if blobs else None
        self._poll = poll
        self._chance = chance
        self._wait = wait or _wait
        self._wake = asyncio.Event()
        self._task: asyncio.Task[None] | None = None
        self._unlisten: Callable[[], None] = lambda: None
        self._online = False
        self._error = ""

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
        return {"online": self._online, "last_error": self._error or None, **self._hop.status()}

    async def once(self) -> None:
        """One whole round: everything sent and fetched. Raises HopError, or StoreError when our own store fails."""
        try:
            await self.converse(self._hop.round())
            if self._blobs and self._fetch:
                await self.converse(self._blobs.round())
                await self.converse(self._fetch.round(self._blobs.missing()))
        except (SyncError, OSError) as error:
            self._online = self._online and not isinstance(error, HopError)
            self._error = str(error)
            raise
        self._online, self._error = True, ""

    async def converse(self, steps: Steps[None]) -> None:
        """Make the calls of a conversation. What lies between two calls blocks, so it runs in a worker thread.

        Raises what its steps raise.
        """
        call = await asyncio.to_thread(_go_on, steps.send, None)
        while call:
            try:
                answer = await self._line.ask(call)
            except HopError as error:
                call = await asyncio.to_thread(_go_on, steps.throw, error)
            else:
                call = await asyncio.to_thread(_go_on, steps.send, answer)

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


def _go_on(how: Callable[[Any], Call], given: Any) -> Call | None:
    """The next call of a conversation, None at its end."""
    try:
        return how(given)
    except StopIteration:
        return None


async def _wait(event: asyncio.Event, seconds: float) -> None:
    try:
        async with asyncio.timeout(max(seconds, 0)):
            await event.wait()
    except TimeoutError:
        return
