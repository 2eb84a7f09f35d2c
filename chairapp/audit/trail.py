"""The trail of one visit: every entry as a line a manager can read, with what became of it."""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal

from chairapp.clinic import ClinicDocument, local
from chairapp.judge.numbers import number_text as number
from chairapp.judge.rim import STATIONS
from chairapp.sequence.say import choice, label, places, text

__all__ = ["FIXED", "MOVED", "Line", "told_value", "trail", "tried"]

Doc = dict[str, Any]
Fate = Literal["", "replaced", "withdrawn"]
MOVED = {
    "laboratory": "sent to the laboratory",
    "clinic": "back from the laboratory",
    "chair": "at the chair",
    "finished": "finished",
}
FIXED = {
    "vertical": "vertical dimension",
    "centric": "centric relation",
    "plane": "plane",
    "midline": "midline",
    "display": "display",
}
_LATE = 24 * 3600 * 1000
"""ms between an entry's own time and its receipt from which the line says when it came."""
_AHEAD = 120 * 1000
"""ms by which an entry may say it was made after it came here, before its device's clock is called wrong."""


@dataclass(frozen=True)
class Line:
    """`day` and `time` by the device's clock, in the clinic's time zone; `where` is the device.

    `came` says when it got here where that was a day later or more, `clock` what is wrong with the device's clock:
    that is told by the receipt, which no other device's clock has a part in. `before` is the value that it replaced.
    """

    day: str
    time: str
    who: str
    what: str
    value: str
    fate: Fate
    kind: str
    came: str = ""
    where: str = ""
    clock: str = ""
    before: str = ""
    received: str = ""


def trail(
    sequence: Doc,
    entries: Sequence[Doc],
    clinic: ClinicDocument,
    received: dict[str, int],
    language: str,
    devices: dict[str, str] | None = None,
) -> list[Line]:
    """Oldest first, in the order in which entries count. `received` in ms since 1970; `devices` gives them names."""
    tell = _Teller(sequence, {entry["id"]: entry for entry in entries}, language)
    fates, before, names = _fates(entries), _replaced(entries), devices or {}
    return [
        Line(
            day=local(entry["at"], clinic).strftime("%A, %d %B %Y"),
            time=local(entry["at"], clinic).strftime("%H:%M:%S"),
            who=clinic.name_of(entry["author"]),
            what=tell.what(entry),
            value=tell.value(entry),
            fate=fates.get(entry["id"], ""),
            kind=entry["kind"],
            came=_came(entry, received, clinic),
            where=names.get(entry["device"]) or f"device {entry['device'][:8]}",
            clock=_clock(entry, received),
            before=tell.value(before[entry["id"]]) if entry["id"] in before else "",
            received=_received(entry, received, clinic),
        )
        for entry in entries
    ]


def _replaced(entries: Sequence[Doc]) -> dict[str, Doc]:
    """The answer that each answer replaced, by the id of the later one."""
    found: dict[str, Doc] = {}
    latest: dict[str, Doc] = {}
    for entry in entries:
        if entry["kind"] == "answer":
            if entry["item"] in latest:
                found[entry["id"]] = latest[entry["item"]]
            latest[entry["item"]] = entry
    return found


def _fates(entries: Sequence[Doc]) -> dict[str, Fate]:
    """An answer is replaced by the next one under its item; what a withdrawal names is withdrawn."""
    fates: dict[str, Fate] = {}
    latest: dict[str, str] = {}
    for entry in entries:
        if entry["kind"] == "answer":
            if entry["item"] in latest:
                fates[latest[entry["item"]]] = "replaced"
            latest[entry["item"]] = entry["id"]
        elif entry["kind"] == "withdrawal" and entry["of"]:
            fates[entry["of"]] = "withdrawn"
    return fates


def _came(entry: Doc, received: dict[str, int], clinic: ClinicDocument) -> str:
    ms = received.get(entry["id"])
    if ms is None or abs(ms - _made(entry)) < _LATE:
        return ""
    return _day_and_time(ms, clinic)


def _received(entry: Doc, received: dict[str, int], clinic: ClinicDocument) -> str:
    """When it came here: the time alone on the day it was made."""
    ms = received.get(entry["id"])
    if ms is None:
        return ""
    came, made = _local(ms, clinic), local(entry["at"], clinic)
    return came.strftime("%H:%M:%S") if came.date() == made.date() else _day_and_time(ms, clinic)


def _clock(entry: Doc, received: dict[str, int]) -> str:
    ms = received.get(entry["id"])
    ahead = _made(entry) - ms if ms is not None else 0
    return f"clock {_span(ahead)} ahead" if ahead > _AHEAD else ""


def _span(ms: float) -> str:
    minutes = int(ms / 60_000)
    if minutes < 120:
        return f"{minutes} min"
    return f"{minutes // 60} h" if minutes < 48 * 60 else f"{minutes // 1440} days"


def _made(entry: Doc) -> float:
    return datetime.fromisoformat(entry["at"]).timestamp() * 1000


def _local(ms: int, clinic: ClinicDocument) -> datetime:
    return local(datetime.fromtimestamp(ms / 1000, UTC).isoformat(), clinic)


def _day_and_time(ms: int, clinic: ClinicDocument) -> str:
    return _local(ms, clinic).strftime("%d %b %Y %H:%M")


def told_value(sequence: Doc, item: str, value: Any, language: str = "en") -> str:
    """The value of an answer or a reading in the words of its sequence, with its unit."""
    return _Teller(sequence, {}, language).value({"kind": "answer", "item": item, "value": value})


class _Teller:
    """An entry's kind, item and value in words."""

    def __init__(self, sequence: Doc, by_id: dict[str, Doc], language: str) -> None:
        self._sequence = sequence
        self._by_id = by_id
        self._language = language
        self._items = {item["id"]: item for step in sequence["steps"] for item in step["items"]}

    def what(self, entry: Doc) -> str:
        kind, item = entry["kind"], entry["item"]
        if kind == "check":
            return f"Second reading: {label(self._sequence, self._language, item or '')}"
        if kind in ("answer", "reading"):
            return label(self._sequence, self._language, item or "")
        if kind in ("acceptance", "note"):
            return f"{kind.capitalize()}: {self._text(f'step.{item}.title') or item}"
        names = {
            "opened": "Visit opened",
            "adjustment": "Wax changed",
            "withdrawal": "Taken back",
            "erasure": "Value erased",
            "signature": "Signed",
            "movement": "Case box",
            "outcome": "Try-in",
        }
        return names.get(kind) or kind.capitalize()

    def value(self, entry: Doc) -> str:
        if isinstance(entry["value"], dict) and list(entry["value"]) == ["erased"]:
            return "value erased"
        told = {
            "answer": self._answer,
            "reading": self._answer,
            "check": self._answer,
            "opened": self._opened,
            "adjustment": self._adjustment,
            "acceptance": self._acceptance,
            "withdrawal": self._withdrawal,
            "erasure": self._erasure,
            "signature": self._signature,
            "printed": self._printed,
            "movement": self._movement,
            "outcome": self._outcome,
        }.get(entry["kind"])
        try:
            return told(entry) if told else _plain(entry["value"])
        except (KeyError, TypeError, AttributeError):
            # An entry of a newer tablet, or one stored before its sequence was known: shown as it is.
            return _plain(entry["value"])

    def _answer(self, entry: Doc) -> str:
        item, value = entry["item"], entry["value"]
        if value is None:
            return "cleared"
        if isinstance(value, dict) and list(value) == ["photo"]:
            return f"{self._measured(item, value['photo'])} by photograph"
        if isinstance(value, dict):
            return self._at_stations(value, lambda measured: self._measured(item, measured))
        if isinstance(value, list):
            return ", ".join(choice(self._sequence, self._language, item, part) for part in value)
        if isinstance(value, str):
            return choice(self._sequence, self._language, item, value)
        return self._measured(item, value)

    def _at_stations(self, value: Doc, measured: Callable[[float], str]) -> str:
        """Stations of one value said together: "0.5 mm at both canines; 0 mm at the front"."""
        together: dict[Any, list[str]] = {}
        for station in (*STATIONS, *(name for name in value if name not in STATIONS)):
            if station in value:
                together.setdefault(value[station], []).append(station)
        said = {one: places(self._sequence, self._language, where) for one, where in together.items()}
        return "; ".join(where if one is True else f"{measured(one)} at {where}" for one, where in said.items())

    def _measured(self, item: str, value: float) -> str:
        unit = self._items[item]["unit"] if item in self._items else None
        return f"{number(value)} {self._text(f'unit.{unit}')}".strip() if unit else number(value)

    def _opened(self, entry: Doc) -> str:
        box = entry["value"]["box"]
        return f"chair {entry['value']['chair']}, box {box[:4]}-{box[4:]}"

    def _adjustment(self, entry: Doc) -> str:
        value = entry["value"]
        rim, surface = self._text(f"rim.{value['rim']}"), self._text(f"surface.{value['surface']}")
        told = self._at_stations(value["stations"], lambda mm: f"{'+' if mm > 0 else ''}{number(mm)} mm")
        return f"{rim}, {surface}: {told}"

    def _acceptance(self, entry: Doc) -> str:
        return str(entry["value"]["reason"])

    def _withdrawal(self, entry: Doc) -> str:
        of = self._by_id.get(entry["of"] or "")
        return f"{self.what(of)}: {self.value(of)}" if of else "an entry that has not arrived"

    def _erasure(self, entry: Doc) -> str:
        of = self._by_id.get(entry["of"] or "")
        return f"{self.what(of) if of else 'an entry that has not arrived'}: {entry['value']['reason']}"

    def _signature(self, entry: Doc) -> str:
        role = entry["value"]["role"].replace("supervised", "supervised clinician")
        return f"as {role}, record {entry['value']['digest'][:8]}"

    def _printed(self, entry: Doc) -> str:
        value = entry["value"]
        reason = f", again: {value['reason']}" if value.get("reason") else ""
        return f"{value['what']} of record {value['digest'][:8]}{reason}"

    def _movement(self, entry: Doc) -> str:
        value = entry["value"]
        if "to" in value:
            return MOVED.get(value["to"], str(value["to"]))
        if "undoes" in value:
            of = self._by_id.get(value["undoes"])
            return f"taken back: {self.value(of)}" if of else "taken back: an entry that has not arrived"
        return f"wanted back by {value['wanted']}" if value["wanted"] else "no longer wanted by a day"

    def _outcome(self, entry: Doc) -> str:
        return tried(entry["value"])

    def _text(self, key: str) -> str:
        return text(self._sequence, self._language, key, {})


def tried(value: Doc) -> str:
    """What the try-in showed, in a line. Raises KeyError for a value that is no outcome."""
    wrong = [FIXED[name] for name in FIXED if value[name] == "correct"]
    said = f"{', '.join(wrong)} to be corrected" if wrong else "all right"
    if value["repeat"]:
        said += "; record to be repeated"
    return f"{said}: {value['why']}" if value["why"] else said


def _plain(value: Any) -> str:
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)[:200]
