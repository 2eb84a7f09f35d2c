"""Visits of the demo's past months, so that figures have something to stand on: all finished, and all invented.

Every one is the demo's case in which all fits, with readings as its clinician takes them: some steadily, some less so;
the same number gives the same visit. Those of a supervised clinician are read a second time.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from random import Random
from typing import Any

from chairapp.box.code import new_code
from chairapp.box.record import box_record, printed_value
from chairapp.case import Case, entries_of, read_case
from chairapp.register import words_of
from chairapp.visit import visit_state

__all__ = ["VISITS", "earlier_visits"]

VISITS = 60

Doc = dict[str, Any]
_DAY_MS = 24 * 3600 * 1000
_NEWEST_DAYS, _OLDEST_DAYS = 23, 140
_TRIED = ("vertical", "centric", "plane", "midline", "display")
_READ_AGAIN = ("display.rest", "vertical.rest", "vertical.occlusal")
_BACK_PAD = ("half", "two_thirds")


@dataclass(frozen=True)
class _Hand:
    """Who takes the readings: how often one of them lies half a millimetre off, and where their visits are."""

    author: str
    chair: str
    unsteady: float
    supervisor: str = ""


@dataclass(frozen=True)
class _Oddity:
    """What is outside its band in a visit, and why it was accepted; an occlusal height is counted from rest."""

    step: str
    item: str
    mm: float
    reasons: tuple[str, ...]


_HANDS = (
    _Hand("clin-1", "1", 0.15),
    _Hand("clin-2", "2", 0.3),
    _Hand("sup-1", "1", 0.45, "clin-1"),
)
_LONG_LIP = ("Long upper lip; the front teeth of the photograph show as much.", "The patient wishes to show more.")
_LOW = (
    "Kept as low as the present dentures; raised in the next set.",
    "kept as low as the present  dentures; raised in the next set.",
    "The muscles do not bear more after many years without teeth.",
)
_ODD = (
    _Oddity("display", "display.rest", 3.5, _LONG_LIP),
    _Oddity("vertical", "vertical.occlusal", -6, _LOW),
)


def earlier_visits(cases: Path, sequence: Doc, letter: str, device: str, now_ms: int) -> Iterator[list[Doc]]:
    """The entries of each, oldest first, as this device with this letter would have made them."""
    pattern = read_case(str(cases / "01_all_fits.json"))
    for number in range(VISITS):
        chance = Random(number)  # noqa: S311 - invented readings
        case = replace(pattern, name=f"earlier month {number}", box=new_code(letter, chance.choice))
        yield _visit(case, sequence, _opened_ms(number, chance, now_ms), device, number, chance)


def _opened_ms(number: int, chance: Random, now_ms: int) -> int:
    """At some time of a working day; visits are evenly spread over the months."""
    apart = (_OLDEST_DAYS - _NEWEST_DAYS) / VISITS
    day = datetime.fromtimestamp(now_ms / 1000, UTC).date() - timedelta(days=round(_OLDEST_DAYS - number * apart))
    day -= timedelta(days=max(0, day.weekday() - 4))
    opened = datetime.combine(day, time(8), UTC) + timedelta(minutes=chance.randrange(8 * 60))
    return int(opened.timestamp() * 1000)


def _visit(case: Case, sequence: Doc, start: int, device: str, number: int, chance: Random) -> list[Doc]:
    hand = _HANDS[number % len(_HANDS)]
    odd = _ODD[chance.randrange(len(_ODD))] if number % 5 in (0, 3) else None
    case = replace(case, author=hand.author, chair=hand.chair)
    made = entries_of(replace(case, entries=_at_the_chair(case, hand, odd, chance)), sequence, start, device)
    # What follows points at entries that are worked out already, so that nothing is judged twice.
    after = _with_the_box(made, sequence, start, odd, chance)
    return entries_of(replace(case, entries=[*made, *after]), sequence, start, device)


# ---- at the chair


def _at_the_chair(case: Case, hand: _Hand, odd: _Oddity | None, chance: Random) -> list[Doc]:
    rows = [row for row in case.entries or [] if row["kind"] in ("answer", "reading")]
    split = next(at for at, row in enumerate(rows) if row["item"].startswith("packing."))
    taken = _taken(rows[:split], hand, odd, chance)
    again = _again(taken, hand.supervisor, chance) if hand.supervisor else []
    accepted = [{"kind": "acceptance", "item": odd.step, "value": chance.choice(odd.reasons)}] if odd else []
    return [*taken, *again, *accepted, *_signed(hand), *rows[split:]]


def _taken(rows: list[Doc], hand: _Hand, odd: _Oddity | None, chance: Random) -> list[Doc]:
    """The rows of the pattern with this patient's height, and readings that lie apart as this hand's do."""
    patient = chance.randrange(-12, 13) / 2
    distance = chance.choice((-0.5, 0, 0, 0, 0.5))
    true = {"display.rest": 1.5, "vertical.rest": 70.5 + patient, "vertical.occlusal": 67.5 + patient + distance}
    if odd:
        true[odd.item] = odd.mm + (true["vertical.rest"] if odd.item == "vertical.occlusal" else 0)
    read = [_as_read(row, true, hand, chance) for row in rows]
    pad = chance.choice(_BACK_PAD)
    return [{**row, "value": pad} if row["item"] == "lower.pad_left" else row for row in read]


def _as_read(row: Doc, true: dict[str, float], hand: _Hand, chance: Random) -> Doc:
    """Half a millimetre lower now and then: at the lip that is still within its band."""
    if row["item"] not in true:
        return row
    return {**row, "value": true[row["item"]] - (0.5 if chance.random() < hand.unsteady else 0)}


def _again(taken: list[Doc], supervisor: str, chance: Random) -> list[Doc]:
    found: dict[str, list[float]] = {}
    for row in taken:
        if row["item"] in _READ_AGAIN:
            found.setdefault(row["item"], []).append(row["value"])
    checks: list[tuple[str, Any]] = []
    for item, values in found.items():
        about = round(2 * sum(values) / len(values)) / 2
        checks.append((item, about + chance.choice((-0.5, 0, 0, 0, 0.5))))
    pad = next(row["value"] for row in taken if row["item"] == "lower.pad_left")
    checks.append(("lower.pad_left", pad if chance.random() < 0.8 else _BACK_PAD[pad == "half"]))
    return [{"kind": "check", "item": item, "value": value, "author": supervisor} for item, value in checks]


def _signed(hand: _Hand) -> list[Doc]:
    if not hand.supervisor:
        return [{"kind": "signature", "item": "review", "value": {"role": "clinician"}}]
    first = {"kind": "signature", "item": "review", "value": {"role": "supervised"}}
    return [first, {**first, "value": {"role": "clinician"}, "author": hand.supervisor}]


# ---- what was done with the box


def _with_the_box(made: list[Doc], sequence: Doc, start: int, odd: _Oddity | None, chance: Random) -> list[Doc]:
    record = box_record(visit_state(sequence, made), words_of(sequence, "en"))
    tried = _tried_in(odd, chance)
    steps: list[tuple[float, str, str, str, Any]] = [
        (0.05, "asst-1", "printed", "label", printed_value(record, None, "label")),
        (0.06, "asst-1", "printed", "prescription", printed_value(record, None, "prescription")),
        (0.2, "asst-1", "movement", "box", {"to": "laboratory"}),
        (8, "asst-2", "movement", "box", {"to": "clinic"}),
        (11, "asst-2", "movement", "box", {"to": "chair"}),
        (11.02, made[0]["author"], "outcome", "try_in", tried),
        (11.05, "asst-2", "movement", "box", {"to": "finished"}),
    ]
    return [
        {"kind": kind, "item": item, "value": value, "author": author, "clock": [int(start + days * _DAY_MS), 0]}
        for days, author, kind, item, value in steps
    ]


def _tried_in(odd: _Oddity | None, chance: Random) -> Doc:
    """More is to be corrected where something was accepted; in an invented clinic that is how it was invented."""
    wrong = chance.random() < (0.45 if odd else 0.15)
    right: Doc = dict.fromkeys(_TRIED, "right") | {"repeat": False, "why": ""}
    if not wrong:
        return right
    what = "vertical" if odd and odd.step == "vertical" else chance.choice(_TRIED)
    repeat = what in ("vertical", "centric") and chance.random() < 0.8
    return right | {what: "correct", "repeat": repeat, "why": "seen at the try-in"}
