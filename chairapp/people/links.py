"""One-time links: whoever opens one may do one thing, once, within a time. Only digests of them are kept."""

from collections.abc import Callable

from chairapp.people.safe import Safe
from sync.access import digest_of_token, new_token
from sync.clock import wall_ms

__all__ = ["DAY_MS", "Links"]

DAY_MS = 24 * 3600 * 1000

Kept = dict[str, tuple[str, int]]
"""Digest of a link's code to what it is for and when it ends, ms since 1970."""


class Links:
    """`name` is what they are kept under; shared by all servers of a clinic. Calls block."""

    def __init__(self, safe: Safe, name: str, now: Callable[[], int] = wall_ms) -> None:
        self._safe = safe
        self._name = name
        self._now = now

    def make(self, purpose: str) -> str:
        """A new code of 256 random bits; the one made for the same purpose before is over."""
        code, now = new_token(), self._now()

        def with_new(kept: Kept | None) -> Kept:
            others = {name: row for name, row in _lasting(kept, now).items() if row[0] != purpose}
            return {**others, digest_of_token(code): (purpose, now + DAY_MS)}

        self._safe.change(self._name, with_new)
        return code

    def purpose(self, code: str) -> str | None:
        """What this code is for; None for one that is used, over, or never was."""
        row = _lasting(self._safe.read(self._name), self._now()).get(digest_of_token(code))
        return row[0] if row else None

    def use(self, code: str) -> str | None:
        """The same, and from now on it is used."""
        name, now, found = digest_of_token(code), self._now(), []

        def without(kept: Kept | None) -> Kept:
            lasting = _lasting(kept, now)
            found.extend([lasting.pop(name)[0]] if name in lasting else [])
            return lasting

        self._safe.change(self._name, without)
        return found[0] if found else None


def _lasting(kept: Kept | None, now: int) -> Kept:
    """Those not over; one that ends too late was made before the clock was set back."""
    return {name: row for name, row in (kept or {}).items() if now < row[1] <= now + DAY_MS}
