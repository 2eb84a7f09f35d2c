"""Keeps the summaries up with the store, in the background, giving way to what comes in."""

import asyncio
import time
from collections.abc import Callable
from contextlib import suppress

from chairapp.audit.summary import BATCH, Summaries
from sync.errors import StoreError
from sync.sql_store import SqlStore

__all__ = ["keep_following"]

LOOK_EVERY_S = 5.0
"""Entries another process of the clinic took in are seen at the next look."""
_GIVES_WAY = 4


async def keep_following(store: SqlStore, summaries: Summaries, failed: Callable[[StoreError], None]) -> None:
    """Until it is cancelled. While entries come in, it rests four times as long as it works.

    `failed` is told when the database is away; the next look finds it, or not yet.
    """
    woken, loop = asyncio.Event(), asyncio.get_running_loop()

    def wake() -> None:
        loop.call_soon_threadsafe(woken.set)

    unheard = store.listen(wake)
    try:
        while True:
            try:
                await _catch_up(summaries, woken)
            except StoreError as error:
                failed(error)
            with suppress(TimeoutError):
                await asyncio.wait_for(woken.wait(), LOOK_EVERY_S)
    finally:
        unheard()


async def _catch_up(summaries: Summaries, woken: asyncio.Event) -> None:
    while True:
        woken.clear()
        began = time.monotonic()
        if not await asyncio.to_thread(summaries.follow, BATCH):
            return
        if woken.is_set():
            await asyncio.sleep(_GIVES_WAY * (time.monotonic() - began))
