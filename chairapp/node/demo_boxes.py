"""Older visits of the demo, so that boxes are on their way: sent, back, overdue, finished. All of it is invented.

Each is one of the demo's cases made some days ago; `after` says what was done with its box, in days after the visit.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from chairapp.box.code import new_code
from chairapp.box.record import box_record, printed_value
from chairapp.case import entries_of, read_case
from chairapp.register import words_of
from chairapp.visit import visit_state

__all__ = ["past_visits"]

Doc = dict[str, Any]
_DAY_MS = 24 * 3600 * 1000
_RIGHT = dict.fromkeys(("vertical", "centric", "plane", "midline", "display"), "right") | {"repeat": False, "why": ""}


@dataclass(frozen=True)
class _Past:
    """`after`: (days after the visit, kind, value); "label" and "prescription" stand for having been printed."""

    case: str
    days_ago: float
    after: tuple[tuple[float, str, Any], ...]


_SENT = ((0.1, "printed", "label"), (0.1, "printed", "prescription"), (0.2, "movement", {"to": "laboratory"}))
_MIDLINE = _RIGHT | {"midline": "correct", "why": "midline 1 mm to the right"}
_AGAIN = _RIGHT | {"vertical": "correct", "repeat": True, "why": "closes too low"}
_PAST = (
    _Past(
        "01_all_fits",
        34.1,
        (
            *_SENT,
            (9, "movement", {"to": "clinic"}),
            (11, "movement", {"to": "chair"}),
            (11.02, "outcome", _RIGHT),
            (11.03, "movement", {"to": "finished"}),
        ),
    ),
    _Past("07_marks_too_close", 20.3, _SENT),
    _Past(
        "02_overclosed",
        18.2,
        (
            *_SENT,
            (8, "movement", {"to": "clinic"}),
            (10, "movement", {"to": "chair"}),
            (10.02, "outcome", _MIDLINE),
            (10.1, "movement", {"to": "laboratory"}),
        ),
    ),
    _Past("01_all_fits", 12.2, (*_SENT, (8, "movement", {"to": "clinic"}))),
    _Past(
        "07_marks_too_close",
        11.4,
        (*_SENT, (7, "movement", {"to": "clinic"}), (11, "movement", {"to": "chair"}), (11.02, "outcome", _AGAIN)),
    ),
    _Past("02_overclosed", 4.3, _SENT),
)


def past_visits(cases: Path, sequence: Doc, letter: str, device: str, now_ms: int) -> Iterator[list[Doc]]:
    """The entries of each, as this device with this letter would have made them."""
    for number, past in enumerate(_PAST):
        case = read_case(str(cases / f"{past.case}.json"))
        case = replace(case, name=f"{case.name}, earlier {number}", box=new_code(letter))
        start = int(now_ms - past.days_ago * _DAY_MS)
        made = entries_of(case, sequence, start, device)
        rows = [_row(made, sequence, start, *what) for what in past.after]
        yield entries_of(replace(case, entries=[*(case.entries or []), *rows]), sequence, start, device)


def _row(made: list[Doc], sequence: Doc, start: int, days: float, kind: str, value: Any) -> Doc:
    item = {"movement": "box", "outcome": "try_in"}.get(kind, value)
    if kind == "printed":
        view = visit_state(sequence, made)
        value = printed_value(box_record(view, words_of(sequence, "en")), None, value)
    author = "clin-1" if kind == "outcome" else "asst-1"
    return {"kind": kind, "item": item, "value": value, "author": author, "clock": [int(start + days * _DAY_MS), 0]}
