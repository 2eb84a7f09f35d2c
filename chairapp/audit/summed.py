"""One visit summed up: the rows that lists and figures are made from, out of its entries and their verdicts."""

import json
from collections import Counter
from collections.abc import Callable
from datetime import datetime
from typing import Any, Literal, NamedTuple

from chairapp.judge import settle
from chairapp.judge.errors import InputError
from chairapp.judge.numbers import is_number
from chairapp.register import Line, Words, line_of, words_of
from chairapp.visit import is_signed, visit_state

__all__ = ["FIXES", "FLAGS", "STATES", "VERDICTS", "LabelOn", "State", "Summed", "Summing"]

Doc = dict[str, Any]
Row = dict[str, Any]
State = Literal["open", "half", "changed", "signed", "finished", "unjudged"]
LabelOn = Callable[[Doc, Words], str]
""""none", "older" or "current": the label that is on the box of a visit, from its `visit_state`."""

STATES: dict[State, str] = {
    "open": "In progress",
    "half": "Second signature missing",
    "changed": "Changed after signing",
    "signed": "Signed",
    "finished": "Finished",
    "unjudged": "Cannot be judged yet",
}
FLAGS = {
    "complete": "Signed and complete",
    "missing": "Signed, something missing",
    "accepted": "Accepted outside its band",
    "unsigned": "Not signed",
    "changed": "Changed after signing",
    "unlabelled": "Signed, not labelled",
    "repeated": "Record repeated at the try-in",
}
"""What may be so of a visit, apart from its state and its verdicts."""
VERDICTS = ("off", "unsure", "stale", "open", "accepted", "fits")
FIXES = ("vertical", "centric", "plane", "midline", "display")
_SERIES = ("vertical.rest", "vertical.occlusal")


class Summed(NamedTuple):
    """`visit` is one row; the others may have several, or none. All but `position` of the tables' columns."""

    visit: Row
    flags: list[Row]
    steps: list[Row]
    series: list[Row]
    checks: list[Row]


class Summing:
    """`sequence_of` gives a sequence document by its digest, `label_on` says which label a box has."""

    def __init__(self, sequence_of: Callable[[str], Doc | None], label_on: LabelOn) -> None:
        self._sequence_of = sequence_of
        self._label_on = label_on

    def __call__(self, visit: str, entries: list[Doc]) -> Summed:
        """Of any entries, also of those that cannot be judged: then `trouble` says why."""
        line = line_of(visit, entries)
        if line is None:
            return _unjudged(_arrived(visit, entries), "its opening has not arrived")
        sequence = self._sequence_of(line.sequence)
        if sequence is None:
            return _unjudged(_lined(line), "the sequence it was opened with is not here")
        try:
            view = visit_state(sequence, entries)
        except InputError as error:
            return _unjudged(_lined(line), str(error))
        labelled = self._label_on(view, words_of(sequence, "en"))
        row = _UNJUDGED | _lined(line) | _judged(view, line) | {"labelled": labelled}
        return Summed(row, _flags(row), _steps(line.visit, view), _series(line.visit, view), _checks(sequence, view))


_UNJUDGED: Row = {
    "state": "unjudged",
    "trouble": "",
    **dict.fromkeys(VERDICTS, 0),
    "missing": "[]",
    "signed": False,
    "changed": False,
    "labelled": "none",
    "distance": None,
    "tried": False,
    "repeat": False,
    **{f"fix_{what}": False for what in FIXES},
}


def _unjudged(row: Row, trouble: str) -> Summed:
    whole = _UNJUDGED | row | {"trouble": trouble}
    return Summed(whole, _flags(whole), [], [], [])


def _arrived(visit: str, entries: list[Doc]) -> Row:
    """A visit that has a beginning only by when its first entry was made."""
    at = min(entry["at"] for entry in entries)
    line = Line(visit, "", "", "", at, max(entry["at"] for entry in entries), len(entries), "", False, False)
    return _lined(line)


def _lined(line: Line) -> Row:
    """What is known of a visit without judging it: the columns that make its `Line` again."""
    last = line.moved[-1] if line.moved else None
    return {
        "visit": line.visit,
        "code": line.code,
        "chair": line.chair,
        "author": line.author,
        "opened": line.opened,
        "opened_ms": _ms(line.opened),
        "last": line.last,
        "entries": line.entries,
        "sequence": line.sequence,
        "was_signed": line.signed,
        "printed": line.printed,
        "place": last["value"]["to"] if last else "here",
        "since_ms": _ms(last["at"] if last else line.opened),
        "wanted": line.wanted,
        "moved": json.dumps(line.moved),
    }


def _judged(view: Doc, line: Line) -> Row:
    steps = view["verdict"]["steps"]
    counted = Counter(step["verdict"] for step in steps.values() if step["required"])
    missing = [id for id, step in steps.items() if step["required"] and step["verdict"] in ("open", "stale")]
    signatures = view["state"]["signatures"]
    signed = is_signed(view["state"])
    distance = view["verdict"]["derived"]["interocclusal_distance"]
    return {
        **{verdict: counted[verdict] for verdict in VERDICTS},
        "missing": json.dumps(missing),
        "signed": signed,
        "changed": not signed and any(not signature["valid"] for signature in signatures),
        "state": _state(line, signatures, signed),
        "distance": distance["value"] if distance else None,
        **_outcome(view["state"]["events"]),
    }


def _state(line: Line, signatures: list[Doc], signed: bool) -> State:
    if line.moved and line.moved[-1]["value"]["to"] == "finished":
        return "finished"
    if signed:
        return "signed"
    if any(not signature["valid"] for signature in signatures):
        return "changed"
    return "half" if signatures else "open"


def _outcome(events: list[Doc]) -> Row:
    """What any of its try-ins showed: a record repeated once was repeated."""
    values = [event["value"] for event in events if event["kind"] == "outcome" and isinstance(event["value"], dict)]
    shown = [value for value in values if "repeat" in value]
    return {
        "tried": bool(shown),
        "repeat": any(value["repeat"] for value in shown),
        **{f"fix_{what}": any(value.get(what) == "correct" for value in shown) for what in FIXES},
    }


def _flags(row: Row) -> list[Row]:
    """What lists are asked for; see FLAGS."""
    left = row["open"] + row["stale"]
    so = {
        "complete": row["signed"] and not left + row["off"] + row["unsure"],
        "missing": row["was_signed"] and left > 0,
        "accepted": row["accepted"] > 0,
        "unsigned": not row["signed"] and row["state"] != "finished",
        "changed": row["changed"],
        "unlabelled": row["signed"] and row["labelled"] != "current" and row["place"] == "here",
        "repeated": row["repeat"],
        **{f"has {verdict}": row[verdict] > 0 for verdict in VERDICTS},
        f"state {row['state']}": True,
        f"place {row['place']}": True,
    }
    return [{"flag": flag, "opened_ms": row["opened_ms"], "visit": row["visit"]} for flag, holds in so.items() if holds]


def _steps(visit: str, view: Doc) -> list[Row]:
    return [
        {
            "visit": visit,
            "step": id,
            "verdict": step["verdict"],
            "reason": step["acceptance"]["reason"] if step["verdict"] == "accepted" else "",
            "by": step["acceptance"]["author"] if step["verdict"] == "accepted" else "",
        }
        for id, step in view["verdict"]["steps"].items()
        if step["required"]
    ]


def _series(visit: str, view: Doc) -> list[Row]:
    """Readings by one person of one round, two or more: each is a repetition of the one before."""
    found = []
    for item in _SERIES:
        row = view["state"]["items"].get(item)
        by: dict[str, list[float]] = {}
        for reading in row["readings"] if row else []:
            if is_number(reading["value"]):
                by.setdefault(reading["author"], []).append(reading["value"])
        found += [
            {"visit": visit, "item": item, "author": author, **_squares(values)}
            for author, values in by.items()
            if len(values) > 1
        ]
    return found


def _squares(values: list[float]) -> Row:
    middle = sum(values) / len(values)
    squares = sum((value - middle) ** 2 for value in values)
    return {"n": len(values), "squares": squares, "first": values[0], "second": values[1]}


def _checks(sequence: Doc, view: Doc) -> list[Row]:
    """Every check of a number or a choice, beside what stood when it was made and somebody else had read."""
    found = []
    entries = view["state"]["entries"]
    places = {entry["id"]: at for at, entry in enumerate(entries)}
    for check in view["state"]["checks"]:
        then = settle(sequence, entries[: places[check["id"]]])["items"].get(check["item"])
        if then and then["fresh"] and then["author"] != check["author"] and _alike(then["value"], check["value"]):
            found.append(
                {
                    "visit": view["state"]["visit"],
                    "entry": check["id"],
                    "item": check["item"],
                    "first": json.dumps(then["value"]),
                    "second": json.dumps(check["value"]),
                    "first_author": then["author"],
                    "second_author": check["author"],
                }
            )
    return found


def _alike(first: Any, second: Any) -> bool:
    return (is_number(first) and is_number(second)) or (isinstance(first, str) and isinstance(second, str))


def _ms(at: str) -> int:
    return int(datetime.fromisoformat(at).timestamp() * 1000)
