"""Time and ids that keep their order when the clock of the machine does not.

Hybrid logical clock: Kulkarni, Demirbas, Madappa, Avva & Leone 2014, "Logical Physical Clocks".
Ids: UUID version 7, RFC 9562, with the 12 bits of `rand_a` as a counter (section 6.2, method 1).
"""

import secrets
import threading
import time
from collections.abc import Callable

__all__ = ["COUNTER_MAX", "FAR_AHEAD_MS", "MS_MAX", "HybridClock", "Ids", "far_ahead", "wall_ms"]

MS_MAX = 2**48 - 1
COUNTER_MAX = 2**16 - 1
FAR_AHEAD_MS = 366 * 24 * 3600 * 1000

_ID_COUNTER_MAX = 0xFFF
_ID_RANDOM_BITS = 62

Stamp = tuple[int, int]


def wall_ms() -> int:
    """Now, in whole milliseconds since 1970 (UTC)."""
    return time.time_ns() // 1_000_000


def far_ahead(ms: int, now: int) -> bool:
    """Whether a clock is more than 366 days ahead of `now` (both ms): such a clock is wrong and is never merged."""
    return ms > now + FAR_AHEAD_MS


class HybridClock:
    """Gives (milliseconds, counter) stamps, each greater than all it gave or merged before."""

    def __init__(self, wall: Callable[[], int] = wall_ms, last: Stamp = (0, 0)) -> None:
        self._wall = wall
        self._last = last
        self._lock = threading.Lock()

    def tick(self) -> Stamp:
        with self._lock:
            self._last = max((self._wall(), 0), _after(self._last))
            return self._last

    def merge(self, stamp: Stamp) -> bool:
        """Let later stamps follow `stamp`. False, and nothing merged, when it is more than 366 days ahead."""
        if far_ahead(stamp[0], self._wall()):
            return False
        with self._lock:
            self._last = max(self._last, stamp)
        return True


class Ids:
    """Gives UUIDv7 texts, each greater than the one before, also while the wall clock stands or steps back.

    `last` is the last id given in an earlier life, so that the order holds over a restart.
    """

    def __init__(
        self, wall: Callable[[], int] = wall_ms, random: Callable[[int], int] = secrets.randbits, last: str = ""
    ) -> None:
        self._wall = wall
        self._random = random
        self._last = _read_id(last) if last else (-1, 0)
        self._lock = threading.Lock()

    def next(self) -> str:
        with self._lock:
            self._last = self._following(self._wall())
            return _write_id(*self._last, self._random(_ID_RANDOM_BITS))

    def _following(self, now: int) -> Stamp:
        ms, counter = self._last
        if now > ms:
            # The highest bit starts at 0, which leaves room for 2,048 ids in this millisecond (RFC 9562, 6.2).
            return now, self._random(11)
        return (ms, counter + 1) if counter < _ID_COUNTER_MAX else (ms + 1, 0)


def _after(stamp: Stamp) -> Stamp:
    ms, counter = stamp
    return (ms, counter + 1) if counter < COUNTER_MAX else (ms + 1, 0)


def _write_id(ms: int, counter: int, random: int) -> str:
    number = ms << 80 | 0x7 << 76 | counter << 64 | 0b10 << 62 | random
    digits = f"{number:032x}"
    return "-".join((digits[:8], digits[8:12], digits[12:16], digits[16:20], digits[20:]))


def _read_id(text: str) -> Stamp:
    number = int(text.replace("-", ""), 16)
    return number >> 80, number >> 64 & _ID_COUNTER_MAX
