"""Where a case box is, since when, and the one thing to do with it next."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal

from chairapp.register import Line
from chairapp.sequence.check_box import TRIED

__all__ = ["HERE", "MOVES", "PLACES", "Next", "Whereabouts", "next_of", "whereabouts"]

Entry = dict[str, Any]

HERE = "here"
"""The place of a box that was never sent: no movement says so."""
PLACES = {
    HERE: "In the clinic",
    "laboratory": "At the laboratory",
    "clinic": "Back from the laboratory",
    "chair": "At the chair",
    "finished": "Finished",
}
MOVES = {
    "laboratory": "Sent to the laboratory",
    "clinic": "Back from the laboratory",
    "chair": "At the chair",
    "finished": "Finished",
}


@dataclass(frozen=True)
class Whereabouts:
    """`since` is RFC 3339 in UTC: the last movement, or the opening of the visit. `days` are whole ones."""

    place: str
    since: str
    days: int
    overdue: bool

    @property
    def name(self) -> str:
        return PLACES.get(self.place, self.place)


def whereabouts(line: Line, now: datetime, today: date, overdue_days: int) -> Whereabouts:
    """Overdue: longer at the laboratory than `overdue_days`, or past the day it was wanted back; `today` is local."""
    last = line.moved[-1] if line.moved else None
    place, since = (last["value"]["to"], last["at"]) if last else (HERE, line.opened)
    days = max(0, (now - datetime.fromisoformat(since)).days)
    late = days >= overdue_days or bool(line.wanted and line.wanted < today.isoformat())
    return Whereabouts(place, since, days, place == "laboratory" and late)


@dataclass(frozen=True)
class Next:
    """`do` is a place to move the box to, or the page that comes first: its label, or the form of the try-in."""

    do: Literal["label", "outcome", "laboratory", "clinic", "chair", "finished"]
    word: str


def next_of(place: str, *, signed: bool, labelled: bool, outcome: Entry | None) -> Next | None:
    """The one next thing; None where there is none: not signed yet, or finished.

    `outcome` is what the try-in showed since the box came to the chair.
    """
    if place == HERE:
        if not signed:
            return None
        return Next("laboratory", MOVES["laboratory"]) if labelled else Next("label", "Print its label")
    if place == "chair":
        return _after_the_try_in(outcome)
    after = {"laboratory": "clinic", "clinic": "chair"}.get(place)
    return Next(after, MOVES[after]) if after else None  # type: ignore[arg-type]


def _after_the_try_in(outcome: Entry | None) -> Next:
    if outcome is None:
        return Next("outcome", "Note the try-in")
    value = outcome["value"]
    again = value["repeat"] or any(value[name] == "correct" for name in TRIED)
    return Next("laboratory", "Sent to the laboratory again") if again else Next("finished", MOVES["finished"])
