"""What somebody has to look after at a node, from plain facts: one line each, and what to do.

The limits are common practice, no source.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

__all__ = ["Backups", "Concern", "Facts", "concerns", "unreadable"]

MB, GB = 1_000_000, 1_000_000_000
DISK_LOW, DISK_LOW_SHARE, DISK_FULL = 10 * GB, 0.10, 500 * MB
SKEW_S = 5 * 60
STEP_S = 60
CERTIFICATE_DAYS = 21
_DAY_MS = 24 * 3600 * 1000


class Concern(NamedTuple):
    """`what` is a fixed word, for machines; a `serious` one keeps people from working or puts data at risk."""

    what: str
    serious: bool
    told: str
    do: str


@dataclass(frozen=True)
class Backups:
    """When the last verified backup was taken, ms since 1970 (0: never); after how many days that is too long ago.

    `failed` is why the last one did not come to be; `beside` says that backups lie on the very disk of the data.
    """

    at: int
    days: int
    failed: str = ""
    beside: bool = False


@dataclass(frozen=True)
class Facts:
    """Of one moment, `now` (ms since 1970). Disk in bytes; `refused` counts what waits in the drawer.

    `newest` is when the last entry came (ms, 0: none yet); `stepped` by how many seconds the clock was put on or back
    lately; `skewed` by how many seconds the clocks of devices, by name, are ahead (+) or behind (-); `backups` is None
    where none are expected; `certificate_ends` in ms, None where there is none.
    """

    now: int
    free: int
    whole: int
    refused: int = 0
    damaged: int = 0
    newest: int = 0
    stepped: float = 0.0
    skewed: Mapping[str, float] = field(default_factory=dict)
    backups: Backups | None = None
    certificate_ends: int | None = None


def concerns(facts: Facts) -> list[Concern]:
    """The serious ones first."""
    found = [concern for look in _LOOKS for concern in look(facts)]
    return sorted(found, key=lambda concern: not concern.serious)


def unreadable(why: str, do: str) -> Concern:
    """The store could not be asked at all."""
    return Concern("store", True, why, do)


def _disk(facts: Facts) -> Iterator[Concern]:
    left = f"{facts.free / GB:.1f} GB of {facts.whole / GB:.0f} GB are free."
    if facts.free < DISK_FULL:
        do = "Free some space now: soon nothing more is taken in. What tablets hold stays with them meanwhile."
        yield Concern("disk", True, f"The disk is full: {left}", do)
    elif facts.free < min(DISK_LOW, DISK_LOW_SHARE * facts.whole):
        yield Concern("disk", False, f"The disk is nearly full: {left}", "Free some space, or move to a larger disk.")


def _damage(facts: Facts) -> Iterator[Concern]:
    if facts.damaged:
        told = f"{_count(facts.damaged, 'line')} of the store can no longer be read."
        yield Concern("damage", True, told, "Run threemark verify, then bring the store back from a backup.")


def _backup(facts: Facts) -> Iterator[Concern]:
    known = facts.backups
    if known is None or not (facts.newest or known.failed):
        return
    if known.failed:
        yield Concern("backup_failed", True, f"The last backup failed: {known.failed}", "It is tried again every hour.")
    age = (facts.now - known.at) / _DAY_MS
    if not known.at:
        yield Concern("backup", True, "There is no backup yet.", _BACK_UP)
    elif age > known.days:
        yield Concern("backup", True, f"The last backup is {_count(int(age), 'day')} old.", _BACK_UP)
    if known.beside:
        told = "The backups are on the same disk as the data: they go when it goes."
        yield Concern("backup_place", False, told, "Let backup_to name a folder on another disk or machine.")


def _clock(facts: Facts) -> Iterator[Concern]:
    behind = (facts.newest - facts.now) / 1000
    if behind > STEP_S:
        told = f"The clock of this machine is {_span(behind)} behind the last entry it took in."
        yield Concern("clock", True, told, _SET_CLOCK)
    elif abs(facts.stepped) > STEP_S:
        way = "forward" if facts.stepped > 0 else "back"
        told = f"The clock of this machine was put {way} by {_span(abs(facts.stepped))} while the node was running."
        yield Concern("clock", False, told, _SET_CLOCK)


def _tablets(facts: Facts) -> Iterator[Concern]:
    for name, seconds in sorted(facts.skewed.items()):
        if abs(seconds) > SKEW_S:
            way = "ahead" if seconds > 0 else "behind"
            told = f"The clock of {name} is {_span(abs(seconds))} {way}."
            yield Concern("tablet_clock", False, told, _SET_TABLET)


def _drawer(facts: Facts) -> Iterator[Concern]:
    if facts.refused:
        verb = "entry was" if facts.refused == 1 else "entries were"
        told = f"{facts.refused:,} {verb} refused and {'waits' if facts.refused == 1 else 'wait'} for you."
        yield Concern("refused", False, told, "Look under Audit, Tablets and nodes: each says what to do.")


def _certificate(facts: Facts) -> Iterator[Concern]:
    if facts.certificate_ends is None:
        return
    left = (facts.certificate_ends - facts.now) / _DAY_MS
    if left <= 0:
        told = "The certificate of this node has ended: browsers no longer open it."
        yield Concern("certificate", True, told, _RENEW)
    elif left < CERTIFICATE_DAYS:
        told = f"The certificate of this node ends in {_count(int(left), 'day')}."
        yield Concern("certificate", False, told, _RENEW)


_LOOKS: tuple[Callable[[Facts], Iterator[Concern]], ...] = (
    _disk,
    _damage,
    _backup,
    _clock,
    _certificate,
    _tablets,
    _drawer,
)
_BACK_UP = "Set backup_to to a folder on another disk and restart, or run threemark backup."
_SET_CLOCK = "Let the machine keep its time by the network (NTP), then restart the node."
_SET_TABLET = "Let that device set its date and time by itself, in its settings."
_RENEW = "Restart the node, which renews its own; one that you brought, replace."


def _count(number: int, thing: str) -> str:
    return f"{number:,} {thing}{'' if number == 1 else 's'}"


def _span(seconds: float) -> str:
    """ "7 minutes", "3 hours", "2 days"."""
    for size, name in ((86_400, "day"), (3600, "hour"), (60, "minute")):
        if seconds >= 2 * size or name == "minute":
            return _count(round(seconds / size), name)
    raise AssertionError
