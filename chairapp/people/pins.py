"""PINs: what a good one is, how one is kept (argon2id), and how guessing is slowed down.

Five wrong tries are free; then every further one has to wait, 30 seconds first, twice as long each time, an hour at
most. A try is counted before it is looked at, so one that is cut off counts; a clock set back shortens no wait.
"""

from collections.abc import Callable
from itertools import pairwise
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import VerifyMismatchError

from chairapp.clinic import ClinicDocument, Person
from chairapp.people.errors import NobodyHere, PinLocked, WeakPin, WrongPin
from chairapp.people.safe import Safe
from sync.clock import wall_ms

__all__ = ["DIGITS_MIN", "FREE_TRIES", "Pins", "checked_pin"]

DIGITS_MIN = 6
DIGITS_MAX = 32
FREE_TRIES = 5
_FIRST_WAIT_MS, _LONGEST_WAIT_MS = 30_000, 3_600_000

_PINS, _TRIES = "pins", "pin tries"

Verifiers = dict[str, str]
"""Staff id to the argon2id hash of the PIN."""


class Pins:
    """The PINs of a clinic's staff, in `safe`. Calls block: a check takes some 50 ms on purpose."""

    def __init__(self, safe: Safe, clinic: Callable[[], ClinicDocument], now: Callable[[], int] = wall_ms) -> None:
        self._safe = safe
        self._clinic = clinic
        self._now = now
        self._hasher = PasswordHasher()
        # Compared with where there is no PIN: an unknown person takes as long as a wrong PIN.
        self._nobody = self._hasher.hash("no PIN at all")

    def set(self, person: str, pin: str) -> None:
        """Keep a new PIN. Raises NobodyHere and WeakPin."""
        self.set_all([person], pin)

    def set_all(self, people: list[str], pin: str) -> None:
        """The same PIN for several: for people who are invented."""
        for person in people:
            self._known(person)
        kept = self._hasher.hash(checked_pin(pin))
        self._safe.change(_PINS, lambda pins: {**(pins or {}), **dict.fromkeys(people, kept)})
        self._forgive(*people)

    def check(self, person: str, pin: str) -> Person:
        """Who this is. Raises NobodyHere, WrongPin, and PinLocked while a wait is not over."""
        found = self._known(person)
        self._count(person)
        try:
            self._hasher.verify((self._safe.read(_PINS) or {}).get(person, self._nobody), pin)
        except VerifyMismatchError:
            raise WrongPin("This is not the PIN.", field="pin") from None
        self._forgive(person)
        return found

    def has(self, person: str) -> bool:
        """Whether this person has a PIN."""
        return person in (self._safe.read(_PINS) or {})

    def verifiers(self) -> Verifiers:
        """For the clinic's own nodes, and for nobody else."""
        return dict(self._safe.read(_PINS) or {})

    def take(self, verifiers: Verifiers) -> None:
        """Keep what the clinic server sent; a PIN that was changed there is new here, its tries forgiven."""
        before = self.verifiers()
        if before != verifiers:
            self._safe.change(_PINS, lambda _: verifiers)
            self._forgive(*(person for person, kept in verifiers.items() if before.get(person) != kept))

    def _known(self, person: str) -> Person:
        found = self._clinic().person(person)
        if found is None or not found.active:
            raise NobodyHere("The clinic does not know this person.", field="person")
        return found

    def _count(self, person: str) -> None:
        locked: list[int] = []

        def one_more(tries: Any) -> Any:
            tries = tries or {"seen": 0, "of": {}}
            now = max(self._now(), tries["seen"])
            count, until = tries["of"].get(person, (0, 0))
            if now < until:
                locked.append(until - now)
            else:
                tries["of"][person] = (count + 1, now + _wait(count + 1))
            return {**tries, "seen": now}

        self._safe.change(_TRIES, one_more)
        if locked:
            fault = PinLocked(f"Too many wrong PINs: wait {_spoken(locked[0])}.", field="pin")
            fault.seconds = -(-locked[0] // 1000)
            raise fault

    def _forgive(self, *people: str) -> None:
        def without(tries: Any) -> Any:
            tries = tries or {"seen": 0, "of": {}}
            return {**tries, "of": {person: kept for person, kept in tries["of"].items() if person not in people}}

        self._safe.change(_TRIES, without)


def checked_pin(pin: str) -> str:
    """The PIN, if nobody guesses it first. Raises WeakPin."""
    if not (pin.isascii() and pin.isdigit() and DIGITS_MIN <= len(pin) <= DIGITS_MAX):
        raise WeakPin(f"A PIN has {DIGITS_MIN} to {DIGITS_MAX} digits and nothing else.", field="pin")
    steps = {int(after) - int(before) for before, after in pairwise(pin)}
    if steps in ({0}, {1}, {-1}):
        raise WeakPin("This PIN is guessed first: one digit only, or digits in a row.", field="pin")
    return pin


def _wait(count: int) -> int:
    """How long to wait after so many wrong tries, ms."""
    if count < FREE_TRIES:
        return 0
    return int(min(_FIRST_WAIT_MS * 2.0 ** (count - FREE_TRIES), _LONGEST_WAIT_MS))


def _spoken(ms: int) -> str:
    seconds = -(-ms // 1000)
    return f"{seconds} seconds" if seconds < 120 else f"{-(-seconds // 60)} minutes"
