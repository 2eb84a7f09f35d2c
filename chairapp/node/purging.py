"""Once a day a chair node lets go of old finished visits that are inside its clinic server's verified backup."""

import asyncio
from collections.abc import Callable

from chairapp.node.log import log
from sync.errors import SyncError
from sync.forward import Forward
from sync.purge import Purge

__all__ = ["keep_purging"]

_DAY = 24 * 3600.0


async def keep_purging(forward: Forward, purge: Purge, gone: Callable[[], None]) -> None:
    """For the life of the node. `gone` is called after visits went. A clinic server away only puts it off."""
    while True:
        before = purge.purged
        try:
            await forward.converse(purge.round())
        except (SyncError, OSError) as error:
            log("purge.put_off", why=type(error).__name__)
        if purge.purged > before:
            log("purge.done", entries=purge.purged - before)
            gone()
        await asyncio.sleep(_DAY)
