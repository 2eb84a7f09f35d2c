"""Notices when the clock of the machine was put on or back while the node runs."""

import time
from collections.abc import Callable

from sync.clock import wall_ms

__all__ = ["ClockWatch", "steady_s"]

FORGOTTEN_S = 24 * 3600.0


def steady_s() -> float:
    """Seconds that nobody puts on or back; they go on while the machine sleeps, where it can tell."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


class ClockWatch:
    """Ask `stepped` now and then. Small corrections, as of a clock kept by the network, add up to nothing."""

    def __init__(self, wall: Callable[[], int] = wall_ms, steady: Callable[[], float] = steady_s) -> None:
        self._wall, self._steady = wall, steady
        self._last = (wall() / 1000, steady())
        self._step = (0.0, 0.0)

    def stepped(self, least: float = 60.0) -> float:
        """By how many seconds the clock was last put on (+) or back (-), for a day; 0.0 where it was not."""
        wall, steady = self._wall() / 1000, self._steady()
        moved = (wall - self._last[0]) - (steady - self._last[1])
        self._last = (wall, steady)
        if abs(moved) > least:
            self._step = (moved, steady)
        return self._step[0] if steady - self._step[1] < FORGOTTEN_S else 0.0
