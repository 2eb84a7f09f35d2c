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

__all__ = ["Line", "trail"]

Doc = dict[str, Any]
Fate = Literal["", "replaced", "withdrawn"]
_LATE = 24 * 3600 * 1000
"""ms between an entry's own time and its receipt from which the line says when it came."""


@dataclass(frozen=True)
class Line:
    """`day` and `time` in the clinic's time zone; `came` says when it got here where that was a day later or more."""

    day: str
    time: str
    who: str
    what: str
    value: str
    fate: Fate
    kind: str
    came: str = ""


def trail(
    sequence: Doc, entries: Sequence[Doc], clinic: ClinicDocument, received: dict[str, int], language: str
) -> list[Line]:
    """Oldest first, in the order in which entries count."""
    tell = _Teller(sequence, {entry["id"]: entry for entry in entries}, language)
    fates = _fates(entries)
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
        )
        for entry in entries
    ]


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
    if ms is None:
        return ""
    made = datetime.fromisoformat(entry["at"]).timestamp() * 1000
    if abs(ms - made) < _LATE:
        return ""
    return local(datetime.fromtimestamp(ms / 1000, UTC).isoformat(), clinic).strftime("%d %b %Y %H:%M")


class _Teller:
    """An entry's kind, item and value in words."""

    def __init__(self, sequence: Doc, by_id: dict[str, Doc], language: str) -> None:
        self._sequence = sequence
        self._by_id = by_id
        self._language = language
        self._items = {item["id"]: item for step in sequence["steps"] for item in step["items"]}

    def what(self, entry: Doc) -> str:
        kind, item = entry["kind"], entry["item"]
        if kind in ("answer", "reading", "check"):
            return label(self._sequence, self._language, item or "")
        if kind in ("acceptance", "note"):
            return f"{kind.capitalize()}: {self._text(f'step.{item}.title') or item}"
        names = {
            "opened": "Visit opened",
            "adjustment": "Wax changed",
            "withdrawal": "Taken back",
            "erasure": "Value erased",
            "signature": "Signed",
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

    def _text(self, key: str) -> str:
        return text(self._sequence, self._language, key, {})


def _plain(value: Any) -> str:
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)[:200]
