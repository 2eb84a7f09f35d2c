"""How guessing is slowed down by who calls, whatever they guess: another person's PIN each time, a code, a link.

A caller is an address. Wrong tries fade, one every three minutes, so that a room of people behind one address is not
locked out by a day's slips; a right one forgives nothing, or whoever has a PIN could go on guessing others'.
"""

import threading
import time
from collections import OrderedDict
from collections.abc import Callable

from fastapi import Request

__all__ = ["FREE_TRIES", "Callers", "caller_of"]

FREE_TRIES = 20
_FADES_S = 180.0
_FIRST_WAIT_S, _LONGEST_WAIT_S = 30.0, 3600.0
_KNOWN_MAX = 4096


class Callers:
    """In memory: whoever can start the node again may sit at it. `now` gives seconds that never go back."""

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self._now = now
        self._guard = threading.Lock()
        self._of: OrderedDict[str, tuple[float, float, float]] = OrderedDict()
        """Caller to wrong tries not faded, when that was so, and until when to wait."""

    def wait(self, caller: str) -> int:
        """Whole seconds this caller has to wait before the next try is looked at; 0 for none."""
        with self._guard:
            until = self._of.get(caller, (0.0, 0.0, 0.0))[2]
            return max(0, -int((self._now() - until) // 1))

    def wrong(self, caller: str) -> None:
        """Count a wrong try."""
        with self._guard:
            now = self._now()
            tries, at, _ = self._of.pop(caller, (0.0, now, 0.0))
            tries = max(0.0, tries - (now - at) / _FADES_S) + 1
            self._of[caller] = (tries, now, now + _wait(round(tries)))
            while len(self._of) > _KNOWN_MAX:
                self._of.popitem(last=False)


def caller_of(request: Request) -> str:
    """The address of the connection. What a header says of it anybody can write."""
    return request.client.host if request.client else ""


def _wait(tries: int) -> float:
    if tries < FREE_TRIES:
        return 0.0
    return min(_FIRST_WAIT_S * 2.0 ** min(tries - FREE_TRIES, 20), _LONGEST_WAIT_S)
