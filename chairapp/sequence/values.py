"""Can this be a value of this item? And how a value is shown when it cannot."""

import math

from chairapp.judge.numbers import number_text
from chairapp.judge.rim import STATIONS
from chairapp.judge.shapes import Doc, Value

LONGEST = 40
"""Characters of a wrong text that a message repeats."""


def value_fault(item: Doc, value: Value) -> Doc | None:
    """What is wrong with an answer's value, by the kind of its item."""
    fault: Doc | None = _VALUES[item["kind"]](item, value)
    return fault


def number_fault(item: Doc, value: Value, field: str, station: str = "") -> Doc | None:
    """The value must be a number and lie in the item's possible range (limits inside)."""
    name = item["id"]
    unit = " " + item["unit"] if item["unit"] else ""
    if not is_number(value):
        return fault_of(field, "unit" if _has_unit(value) else "number", name, value, unit=unit, station=station)
    low, high = item["possible"]
    if value != value or value in (math.inf, -math.inf):
        return fault_of(field, "finite", name, value, station=station)
    if value < low or value > high:
        ends = {"low": number_text(low), "high": number_text(high)}
        return fault_of(field, "possible", name, value, unit=unit, station=station, **ends)
    if item["pad"] == 1 and item["unit"] is None and value != math.floor(value):
        return fault_of(field, "whole", name, value)
    return None


def fault_of(
    field: str,
    code: str,
    name: str,
    value: Value,
    unit: str = "",
    low: str = "",
    high: str = "",
    known: str = "",
    station: str = "",
) -> Doc:
    """What is wrong: the place in the entry, the code of the message `check.CODE`, and the params of its texts."""
    params = {"name": name, "given": shown(value), "unit": unit, "low": low, "high": high, "known": known}
    return {"field": field, "code": code, "params": dict(params, station=station)}


def is_worded(value: Value) -> bool:
    """Is this a text with something in it?"""
    return isinstance(value, str) and value.strip() != ""


def shown(value: Value) -> str:
    """A value as it was given, for a message: text in quotes, numbers without a needless point."""
    if value is None:
        return "null"
    if value is True:
        return "true"
    if value is False:
        return "false"
    if isinstance(value, str):
        return "'" + value[:LONGEST] + ("…" if len(value) > LONGEST else "") + "'"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, dict):
        return "an object"
    return _shown_number(value) if is_number(value) else "a " + type(value).__name__


def is_number(value: Value) -> bool:
    """Told by the name of its type: the browser's JSON makes no difference between 400 and 400.0."""
    return type(value).__name__ in ("int", "float")


def _choice(item: Doc, value: Value) -> Doc | None:
    if not isinstance(value, str) or value not in item["choices"]:
        return fault_of("value", "choice", item["id"], value, known=", ".join(item["choices"]))
    return None


def _one_number(item: Doc, value: Value) -> Doc | None:
    return number_fault(item, value, "value")


def _stations(item: Doc, value: Value) -> Doc | None:
    if not isinstance(value, dict):
        return fault_of("value", "stations", item["id"], value)
    for station in value:
        field = "value." + str(station)
        if station not in STATIONS:
            return fault_of(field, "station", item["id"], station, known=", ".join(STATIONS))
        if item["unit"] is None:
            fault = _yes_or_no(item, value[station], field)
        else:
            fault = number_fault(item, value[station], field, station)
        if fault:
            return fault
    return None


def _yes_or_no(item: Doc, value: Value, field: str) -> Doc | None:
    return None if value is True or value is False else fault_of(field, "mark", item["id"], value)


def _text(item: Doc, value: Value) -> Doc | None:
    return None if is_worded(value) else fault_of("value", "text", item["id"], value)


def _list(item: Doc, value: Value) -> Doc | None:
    if not isinstance(value, list):
        return fault_of("value", "list", item["id"], value, known=", ".join(item["choices"]))
    for at, chosen in enumerate(value):
        if not isinstance(chosen, str) or chosen not in item["choices"]:
            return fault_of("value." + str(at), "choice", item["id"], chosen, known=", ".join(item["choices"]))
        if chosen in value[:at]:
            return fault_of("value." + str(at), "twice", item["id"], chosen)
    return None


_VALUES = {"choice": _choice, "number": _one_number, "stations": _stations, "text": _text, "list": _list}


def _has_unit(value: Value) -> bool:
    """A text that starts like a number and goes on in letters or a degree sign."""
    if not isinstance(value, str):
        return False
    body = value.strip().lstrip("+-")
    return body[:1].isdigit() and not body[-1:].isdigit()


def _shown_number(value: Value) -> str:
    if value != value:
        return "NaN"
    if value > 1e15 or value < -1e15:
        return "Infinity" if value == math.inf else "-Infinity" if value == -math.inf else "a number far too large"
    return str(int(value)) if value == math.floor(value) else str(value)
