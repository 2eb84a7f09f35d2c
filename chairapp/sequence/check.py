"""Is what an entry says possible at all? Asked before an entry is stored, on the tablet, at the node and for a case file.

The envelope (ids, clock, times) is not looked at here, and neither is what a value means: the judge does that. Runs on the
server and in the browser: plain functions over dicts, lists, numbers and strings.
"""

import math

from chairapp.judge.numbers import number_text
from chairapp.judge.rim import MOLARS, STATIONS
from chairapp.sequence.say import text

RIMS = ["upper", "lower"]
SURFACES = ["height", "labial", "base"]


def check_entry(sequence: dict, entry: dict, language: str = "en"):
    """What is wrong with the entry as {"field", "why", "do"}, each a plain sentence or name, or None.

    `field` is the place in the entry ("item", "value", "value.reason", "value.stations.front"); `why` names the item and
    repeats what was given. A kind this program does not know is not refused: a newer tablet may have written it.
    """
    look = _LOOKS.get(entry.get("kind"))
    fault = look(sequence, entry) if look else None
    if fault is None:
        return None
    field, code, params = fault
    return {
        "field": field,
        "why": text(sequence, language, "check." + code + ".why", params),
        "do": text(sequence, language, "check." + code + ".do", params),
    }


def find_item(sequence: dict, item_id):
    """The item of that id, or None."""
    for step in sequence["steps"]:
        for item in step["items"]:
            if item["id"] == item_id:
                return item
    return None


def shown(value) -> str:
    """A value as it was given, for a message: text in quotes, numbers without a needless point."""
    if value is None:
        return "null"
    if value is True:
        return "true"
    if value is False:
        return "false"
    if isinstance(value, str):
        return "'" + value + "'"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, dict):
        return "an object"
    return _shown_number(value)


def is_number(value) -> bool:
    """Told by what it is not: the browser's JSON makes no difference between 400 and 400.0."""
    return not (value is None or value is True or value is False or isinstance(value, (str, list, dict)))


# ---- one look for each kind of entry: None, or (field, code of the message, its params)


def _opened(sequence, entry):
    value = entry.get("value")
    if not isinstance(value, dict):
        return _fault("value", "object", "opened", value)
    if value.get("sequence") != sequence["id"]:
        return _fault("value.sequence", "sequence", "opened", value.get("sequence"), known=sequence["id"])
    return _texts_of(value, "opened", ["digest", "box", "chair", "language"])


def _answer(sequence, entry):
    item = find_item(sequence, entry.get("item"))
    if item is None:
        return _fault("item", "item", "answer", entry.get("item"))
    value = entry.get("value")
    if value is None or (item["by_eye"] and value == "looks_parallel"):
        return None
    if item["kind"] == "reading":
        return _fault("value", "by_eye" if item["by_eye"] else "reading", item["id"], value)
    return _VALUES[item["kind"]](item, value)


def _reading(sequence, entry):
    item = find_item(sequence, entry.get("item"))
    if item is None:
        return _fault("item", "item", "reading", entry.get("item"))
    if item["kind"] != "reading":
        return _fault("item", "not_read", item["id"], entry.get("value"))
    value = entry.get("value")
    if item["photo"] and isinstance(value, dict) and list(value) == ["photo"]:
        return _number(item, value["photo"], "value.photo")
    return _number(item, value, "value")


def _withdrawal(sequence, entry):
    of = entry.get("of")
    if not isinstance(of, str) or not of:
        return _fault("of", "of", "withdrawal", of)
    return None


def _adjustment(sequence, entry):
    value = entry.get("value")
    if entry.get("item") != "wax":
        return _fault("item", "wax", "adjustment", entry.get("item"))
    if not isinstance(value, dict):
        return _fault("value", "object", "adjustment", value)
    for name in value:
        if name not in ("rim", "surface", "stations"):
            return _fault("value." + str(name), "field", "adjustment", name, known="rim, surface, stations")
    for name, known in (("rim", RIMS), ("surface", SURFACES)):
        if value.get(name) not in known:
            return _fault("value." + name, "choice", "adjustment", value.get(name), known=", ".join(known))
    return _adjusted(sequence, value)


def _acceptance(sequence, entry):
    fault = _step(sequence, entry, "acceptance")
    value = entry.get("value")
    if fault:
        return fault
    if not isinstance(value, dict):
        return _fault("value", "object", "acceptance", value)
    if not _is_worded(value.get("reason")):
        return _fault("value.reason", "reason", entry["item"], value.get("reason"))
    if not _are_codes(value.get("codes")):
        return _fault("value.codes", "codes", entry["item"], value.get("codes"))
    return None


def _note(sequence, entry):
    fault = _step(sequence, entry, "note")
    if fault is None and not _is_worded(entry.get("value")):
        return _fault("value", "text", "note", entry.get("value"))
    return fault


def _signature(sequence, entry):
    value = entry.get("value")
    if entry.get("item") != "review":
        return _fault("item", "review", "signature", entry.get("item"))
    if not isinstance(value, dict):
        return _fault("value", "object", "signature", value)
    for name in ("covers", "verdicts"):
        if not isinstance(value.get(name), dict):
            return _fault("value." + name, "object", "signature", value.get(name))
    return _texts_of(value, "signature", ["role", "digest", "judge"])


_LOOKS = {
    "opened": _opened,
    "answer": _answer,
    "reading": _reading,
    "check": _reading,
    "withdrawal": _withdrawal,
    "adjustment": _adjustment,
    "acceptance": _acceptance,
    "note": _note,
    "signature": _signature,
}


# ---- values by the kind of their item


def _choice(item, value):
    if not isinstance(value, str) or value not in item["choices"]:
        return _fault("value", "choice", item["id"], value, known=", ".join(item["choices"]))
    return None


def _one_number(item, value):
    return _number(item, value, "value")


def _stations(item, value):
    if not isinstance(value, dict):
        return _fault("value", "stations", item["id"], value)
    for station in value:
        field = "value." + str(station)
        if station not in STATIONS:
            return _fault(field, "station", item["id"], station, known=", ".join(STATIONS))
        if item["unit"] is None:
            fault = _yes_or_no(item, value[station], field)
        else:
            fault = _number(item, value[station], field, station)
        if fault:
            return fault
    return None


def _yes_or_no(item, value, field):
    return None if value is True or value is False else _fault(field, "mark", item["id"], value)


def _text(item, value):
    return None if _is_worded(value) else _fault("value", "text", item["id"], value)


def _list(item, value):
    if not isinstance(value, list):
        return _fault("value", "list", item["id"], value, known=", ".join(item["choices"]))
    for at, chosen in enumerate(value):
        if not isinstance(chosen, str) or chosen not in item["choices"]:
            return _fault("value." + str(at), "choice", item["id"], chosen, known=", ".join(item["choices"]))
        if chosen in value[:at]:
            return _fault("value." + str(at), "twice", item["id"], chosen)
    return None


_VALUES = {"choice": _choice, "number": _one_number, "stations": _stations, "text": _text, "list": _list}


def _number(item, value, field, station=None):
    """The number must be one, and lie in the item's possible range (limits inside)."""
    name = item["id"] if station is None else item["id"] + " at " + station
    unit = " " + item["unit"] if item["unit"] else ""
    if not is_number(value):
        return _fault(field, "unit" if _has_unit(value) else "number", name, value, unit=unit)
    low, high = item["possible"]
    if value != value or value in (math.inf, -math.inf):
        return _fault(field, "finite", name, value)
    if value < low or value > high:
        return _fault(field, "possible", name, value, unit=unit, low=number_text(low), high=number_text(high))
    if item["pad"] == 1 and item["unit"] is None and value != math.floor(value):
        return _fault(field, "whole", name, value)
    return None


def _adjusted(sequence, value):
    """The stations of an adjustment: known, none zero, and for a base molars only, taken off."""
    stations = value.get("stations")
    if not isinstance(stations, dict) or not stations:
        return _fault("value.stations", "stations", "adjustment", stations)
    limit = sequence["settings"]["adjustment.possible"]
    for station in stations:
        field, mm = "value.stations." + str(station), stations[station]
        known = MOLARS if value["surface"] == "base" else STATIONS
        if station not in known:
            return _fault(field, "station", "adjustment", station, known=", ".join(known))
        ruler = {"id": "adjustment", "unit": "mm", "pad": None, "possible": [-limit, limit]}
        fault = _number(ruler, mm, field, station)
        if fault:
            return fault
        if mm == 0:
            return _fault(field, "zero", "adjustment at " + station, mm)
        if value["surface"] == "base" and mm > 0:
            return _fault(field, "relief", "adjustment at " + station, mm)
    return None


# ---- small questions


def _step(sequence, entry, kind):
    known = [step["id"] for step in sequence["steps"]]
    return None if entry.get("item") in known else _fault("item", "step", kind, entry.get("item"))


def _texts_of(value, kind, names):
    for name in names:
        if not _is_worded(value.get(name)):
            return _fault("value." + name, "text", kind, value.get(name))
    return None


def _is_worded(value) -> bool:
    return isinstance(value, str) and value.strip() != ""


def _are_codes(codes) -> bool:
    if not isinstance(codes, list):
        return False
    for code in codes:
        if not isinstance(code, list) or len(code) != 2 or not isinstance(code[0], str):
            return False
    return True


def _has_unit(value) -> bool:
    """A text that starts like a number and goes on in letters or a degree sign."""
    if not isinstance(value, str):
        return False
    body = value.strip().lstrip("+-")
    return body[:1].isdigit() and not body[-1:].isdigit()


def _shown_number(value) -> str:
    if value != value:
        return "NaN"
    if value > 1e15 or value < -1e15:
        return "Infinity" if value == math.inf else "-Infinity" if value == -math.inf else "a number far too large"
    return str(int(value)) if value == math.floor(value) else str(value)


def _fault(field, code, name, value, unit="", low="", high="", known=""):
    params = {"name": name, "given": shown(value), "unit": unit, "low": low, "high": high, "known": known}
    return field, code, params
