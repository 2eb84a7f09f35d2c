"""The hop out."""

from typing import Any

import httpx

from sync.store import Store


class Forward:
    """Hands a store's entries on to `base_url` and fetches what it has; an asyncio task."""

    def __init__(self, store: Store, base_url: str, token: str, *, client: httpx.AsyncClient | None = None) -> None: ...

    def start(self) -> None:
        """Begin, in the running event loop (a lifespan)."""

    async def stop(self) -> None: ...

    async def once(self) -> None:
        """One whole round, for commands and tests. Raises what went wrong."""

    def status(self) -> dict[str, Any]:
        """{"online": bool, "pending": int, "refused": int, "last_sent": RFC 3339 or null, "last_error": str or null,
        "alarm": str or null}"""
        raise NotImplementedError
