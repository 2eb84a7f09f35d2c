"""Is what an entry says possible at all? Asked before it is stored, on the tablet, at the node and for a case file.

The envelope (ids, clock, times) is not looked at here, and neither is what a value means: the judge does that. Runs on
the server and in the browser: plain functions over dicts, lists, numbers and strings.
"""

from chairapp.judge.rim import MOLARS, STATIONS
from chairapp.judge.shapes import Doc, Value
from chairapp.sequence.check_box import check_movement, check_outcome
from chairapp.sequence.say import pointed, text
from chairapp.sequence.values import fault_of, is_worded, number_fault, value_fault

RIMS = ["upper", "lower"]
SURFACES = ["height", "labial", "base"]
SIGNS = ["clinician", "supervised", "supervisor"]


def check_entry(sequence: Doc, entry: Doc, language: str = "en") -> Doc | None:
    """What is wrong with the entry as {"field", "why", "do"}, each a plain sentence or name, or None.

    `field` is the place in the entry ("item", "value", "value.reason", "value.stations.front"); `why` names the item
    and repeats what was given. A kind this program does not know is not refused: a newer tablet may have written it.
    """
    look = _LOOKS.get(str(entry.get("kind")))
    fault = look(sequence, entry) if look else None
    if fault is None:
        return None
    key, params = "check." + fault["code"], dict(fault["params"])
    if params["station"]:
        station = text(sequence, language, "station." + params["station"], {})
        params["name"] = text(sequence, language, "list.at", {"name": params["name"], "station": station})
    for name in ("given", "low", "high"):
        if not params[name].startswith("'"):
            params[name] = pointed(sequence, language, params[name])
    return {
        "field": fault["field"],
        "why": text(sequence, language, key + ".why", params),
        "do": text(sequence, language, key + ".do", params),
    }


def find_item(sequence: Doc, item_id: Value) -> Doc | None:
    """The item of that id, or None."""
    for step in sequence["steps"]:
        for item in step["items"]:
            if item["id"] == item_id:
                found: Doc = item
                return found
    return None


# ---- one look for each kind of entry


def _opened(sequence: Doc, entry: Doc) -> Doc | None:
    value = entry.get("value")
    if not isinstance(value, dict):
        return fault_of("value", "object", "opened", value)
    if value.get("sequence") != sequence["id"]:
        return fault_of("value.sequence", "sequence", "opened", value.get("sequence"), known=sequence["id"])
    # a case that is only judged has no box
    names = ["digest", "chair", "language"] + ([] if value.get("box") is None else ["box"])
    return _texts_of(value, "opened", names)


def _answer(sequence: Doc, entry: Doc) -> Doc | None:
    item = find_item(sequence, entry.get("item"))
    if item is None:
        return fault_of("item", "item", "answer", entry.get("item"))
    value = entry.get("value")
    if value is None or (item["by_eye"] and value == "looks_parallel"):
        return None
    if item["kind"] == "reading":
        return fault_of("value", "by_eye" if item["by_eye"] else "reading", item["id"], value)
    return value_fault(item, value)


def _reading(sequence: Doc, entry: Doc) -> Doc | None:
    item = find_item(sequence, entry.get("item"))
    if item is None:
        return fault_of("item", "item", "reading", entry.get("item"))
    if item["kind"] != "reading":
        return fault_of("item", "not_read", item["id"], entry.get("value"))
    value = entry.get("value")
    if item["photo"] and isinstance(value, dict) and list(value) == ["photo"]:
        return number_fault(item, value["photo"], "value.photo")
    return number_fault(item, value, "value")


def _second(sequence: Doc, entry: Doc) -> Doc | None:
    """A supervisor's own: a reading, or the answer to what is not read."""
    item = find_item(sequence, entry.get("item"))
    return _reading(sequence, entry) if item is None or item["kind"] == "reading" else value_fault(item, entry["value"])


def _withdrawal(_: Doc, entry: Doc) -> Doc | None:
    of = entry.get("of")
    if not isinstance(of, str) or not of:
        return fault_of("of", "of", "withdrawal", of)
    return None


def _adjustment(sequence: Doc, entry: Doc) -> Doc | None:
    value = entry.get("value")
    if entry.get("item") != "wax":
        return fault_of("item", "wax", "adjustment", entry.get("item"))
    if not isinstance(value, dict):
        return fault_of("value", "object", "adjustment", value)
    for name in value:
        if name not in ("rim", "surface", "stations"):
            return fault_of("value." + str(name), "field", "adjustment", name, known="rim, surface, stations")
    for name, known in (("rim", RIMS), ("surface", SURFACES)):
        if value.get(name) not in known:
            return fault_of("value." + name, "choice", "adjustment", value.get(name), known=", ".join(known))
    return _adjusted(sequence, value)


def _acceptance(sequence: Doc, entry: Doc) -> Doc | None:
    fault = _step(sequence, entry, "acceptance")
    value = entry.get("value")
    if fault:
        return fault
    if not isinstance(value, dict):
        return fault_of("value", "object", "acceptance", value)
    if not is_worded(value.get("reason")):
        return fault_of("value.reason", "reason", entry["item"], value.get("reason"))
    if not _are_codes(value.get("codes")):
        return fault_of("value.codes", "codes", entry["item"], value.get("codes"))
    return None


def _note(sequence: Doc, entry: Doc) -> Doc | None:
    fault = _step(sequence, entry, "note")
    if fault is None and not is_worded(entry.get("value")):
        return fault_of("value", "text", "note", entry.get("value"))
    return fault


def _signature(_: Doc, entry: Doc) -> Doc | None:
    value = entry.get("value")
    if entry.get("item") != "review":
        return fault_of("item", "review", "signature", entry.get("item"))
    if not isinstance(value, dict):
        return fault_of("value", "object", "signature", value)
    for name in ("covers", "verdicts"):
        if not isinstance(value.get(name), dict):
            return fault_of("value." + name, "object", "signature", value.get(name))
    if value.get("role") not in SIGNS:
        return fault_of("value.role", "choice", "signature", value.get("role"), known=", ".join(SIGNS))
    names = ["digest", "judge"]
    # one without a key was made before people had keys; half of a proof is none
    if "key" in value or "proof" in value:
        names += ["key", "proof"]
    return _texts_of(value, "signature", names)


_LOOKS = {
    "opened": _opened,
    "answer": _answer,
    "reading": _reading,
    "check": _second,
    "withdrawal": _withdrawal,
    "adjustment": _adjustment,
    "acceptance": _acceptance,
    "note": _note,
    "signature": _signature,
    "movement": check_movement,
    "outcome": check_outcome,
}


def _adjusted(sequence: Doc, value: Doc) -> Doc | None:
    """What is wrong with the stations of an adjustment whose rim and surface are known."""
    stations = value.get("stations")
    if not isinstance(stations, dict) or not stations:
        return fault_of("value.stations", "stations", "adjustment", stations)
    limit = sequence["settings"]["adjustment.possible"]
    for station in stations:
        fault = _adjusted_at(value["surface"], station, stations[station], limit)
        if fault:
            return fault
    return None


def _adjusted_at(surface: str, station: str, mm: Value, limit: float) -> Doc | None:
    """A base is relieved, at the molars only; nowhere is 0 mm a change."""
    field, name = "value.stations." + str(station), "adjustment at " + str(station)
    known = MOLARS if surface == "base" else STATIONS
    if station not in known:
        return fault_of(field, "station", "adjustment", station, known=", ".join(known))
    ruler = {"id": name, "unit": "mm", "pad": None, "possible": [-limit, limit]}
    fault = number_fault(ruler, mm, field)
    if fault:
        return fault
    if mm == 0:
        return fault_of(field, "zero", name, mm)
    return fault_of(field, "relief", name, mm) if surface == "base" and mm > 0 else None


# ---- small questions


def _step(sequence: Doc, entry: Doc, kind: str) -> Doc | None:
    known = [step["id"] for step in sequence["steps"]]
    return None if entry.get("item") in known else fault_of("item", "step", kind, entry.get("item"))


def _texts_of(value: Doc, kind: str, names: list[str]) -> Doc | None:
    for name in names:
        if not is_worded(value.get(name)):
            return fault_of("value." + name, "text", kind, value.get(name))
    return None


def _are_codes(codes: Value) -> bool:
    if not isinstance(codes, list):
        return False
    return all(isinstance(code, list) and len(code) == 2 and isinstance(code[0], str) for code in codes)
