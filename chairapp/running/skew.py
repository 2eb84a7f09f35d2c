"""Devices whose clocks are wrong, told from what they wrote.

An entry made after the moment it arrived: its device is ahead. One whose own time is behind the clock it carries, which
followed an entry the device knew: it is behind. A device that was only away says neither.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime

from sync.entry import Entry
from sync.store import Store, cursor_at

__all__ = ["LOOKED_AT", "recent", "skews"]

LOOKED_AT = 200
_DAY_MS = 24 * 3600 * 1000


def skews(entries: Iterable[Entry], received: Mapping[str, int]) -> dict[str, float]:
    """Seconds ahead (+) or behind (-), by device, as its last entry of these shows. `received` in ms since 1970."""
    found: dict[str, float] = {}
    for entry in entries:
        made, came = _ms(entry["at"]), received[entry["id"]]
        clock = entry["clock"][0]
        ahead = made - came
        behind = clock - made if clock <= came else 0
        found[entry["device"]] = (ahead if ahead > 0 else -max(behind, 0)) / 1000
    return found


def recent(store: Store, now: int) -> tuple[list[Entry], dict[str, int]]:
    """The last entries of a store that came within a day before `now` (ms), and when each did."""
    head = store.head()
    page = store.since(cursor_at(head.epoch, max(head.position - LOOKED_AT, 0)), LOOKED_AT)
    came: dict[str, int] = {}
    for visit in {entry["visit"] for entry in page.entries}:
        came |= store.received(visit)
    return [entry for entry in page.entries if now - came[entry["id"]] < _DAY_MS], came


def _ms(at: str) -> float:
    return datetime.fromisoformat(at).timestamp() * 1000
