"""Who is signed in at a node's own pages.

A session is a random token in a cookie; only its digest is kept, where people's secrets are, so that all servers of a
clinic know it. It ends by signing out, after a while without use, 12 hours after it began in any case, and when the
person's PIN is changed or the clinic does not name the person any more. A clock set back makes none last longer.
"""

import hashlib
from collections.abc import Callable
from typing import Any

from chairapp.clinic import ClinicDocument, Person
from chairapp.people.pins import Pins
from chairapp.people.safe import Safe
from sync.access import digest_of_token, new_token
from sync.clock import wall_ms

__all__ = ["LONGEST_MS", "Sessions"]

LONGEST_MS = 12 * 3600 * 1000
_TOLD_EVERY_MS = 30_000
_SESSIONS = "sessions"

Row = dict[str, Any]
"""Of one session: {"person", "pin": what its verifier was, "from", "seen": ms since 1970}."""
Rows = dict[str, Row]


class Sessions:
    """Calls block, though not for long."""

    def __init__(
        self,
        safe: Safe,
        pins: Pins,
        clinic: Callable[[], ClinicDocument],
        idle_minutes: int,
        now: Callable[[], int] = wall_ms,
    ) -> None:
        self._safe = safe
        self._pins = pins
        self._clinic = clinic
        self._idle_ms = idle_minutes * 60_000
        self._now = now

    def begin(self, person: str, before: str | None = None) -> str:
        """A new token for this person, whose PIN was verified; the session of the token held before ends."""
        token, now = new_token(), self._now()
        row = {"person": person, "pin": self._pin_of(person), "from": now, "seen": now}

        def with_new(rows: Rows | None) -> Rows:
            gone = digest_of_token(before or "")
            kept = {name: old for name, old in (rows or {}).items() if name != gone and self._lasts(old)}
            return {**kept, digest_of_token(token): row}

        self._safe.change(_SESSIONS, with_new)
        return token

    def person(self, token: str | None, *, used: bool = True) -> Person | None:
        """Whose session this is; None for none, or one that ended. `used` keeps it from ending for want of use."""
        if not token:
            return None
        name = digest_of_token(token)
        row = (self._safe.read(_SESSIONS) or {}).get(name)
        if row is None or not self._lasts(row) or row["pin"] != self._pin_of(row["person"]):
            return None
        if used and self._now() - row["seen"] >= _TOLD_EVERY_MS:
            self._tell(name)
        person = self._clinic().person(row["person"])
        return person if person and person.active else None

    def end(self, token: str | None) -> None:
        name = digest_of_token(token or "")
        self._safe.change(_SESSIONS, lambda rows: {one: row for one, row in (rows or {}).items() if one != name})

    def _lasts(self, row: Row) -> bool:
        now = self._now()
        unused, old = now - row["seen"], now - row["from"]
        return bool(-_TOLD_EVERY_MS <= unused < self._idle_ms and old < LONGEST_MS)

    def _tell(self, name: str) -> None:
        def seen(rows: Rows | None) -> Rows:
            known = rows or {}
            return {**known, name: {**known[name], "seen": self._now()}} if name in known else known

        self._safe.change(_SESSIONS, seen)

    def _pin_of(self, person: str) -> str:
        return hashlib.sha256(self._pins.verifiers().get(person, "").encode()).hexdigest()
