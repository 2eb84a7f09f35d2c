"""One-time codes that let a device in: valid ten minutes, used once, only their digests kept."""

import secrets
from collections.abc import Callable

from chairapp.people.safe import Safe
from sync.access import digest_of_token
from sync.clock import wall_ms

__all__ = ["LASTS_MS", "PairingCodes", "plain_code"]

LASTS_MS = 10 * 60_000
_LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
_LENGTH = 10
_CODES = "pairing codes"

Codes = dict[str, int]
"""Digest of a code to when it ends, ms since 1970."""


class PairingCodes:
    """Shared by all servers of a clinic. Calls block."""

    def __init__(self, safe: Safe, now: Callable[[], int] = wall_ms) -> None:
        self._safe = safe
        self._now = now

    def make(self) -> str:
        """A new code of ten characters, some 49 random bits; nobody can show it again."""
        code, now = "".join(secrets.choice(_LETTERS) for _ in range(_LENGTH)), self._now()

        def with_new(codes: Codes | None) -> Codes:
            return {**_lasting(codes, now), digest_of_token(code): now + LASTS_MS}

        self._safe.change(_CODES, with_new)
        return code

    def use(self, typed: str) -> bool:
        """Whether this is a code that lasts and nobody used; from now on it is used."""
        name, now, found = digest_of_token(plain_code(typed)), self._now(), []

        def without(codes: Codes | None) -> Codes:
            lasting = _lasting(codes, now)
            found.extend([lasting.pop(name)] if name in lasting else [])
            return lasting

        self._safe.change(_CODES, without)
        return bool(found)


def plain_code(typed: str) -> str:
    """As it is kept: capitals, without the spaces and hyphens that people put in."""
    return "".join(letter for letter in typed.upper() if letter.isalnum())


def _lasting(codes: Codes | None, now: int) -> Codes:
    """Those not over; one that ends too late was made before the clock was set back."""
    return {name: until for name, until in (codes or {}).items() if now < until <= now + LASTS_MS}
