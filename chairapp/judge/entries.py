"""The entries of one visit: is each of the shape the judge reads, and the order in which they count."""

from chairapp.judge.errors import InputError
from chairapp.judge.index import is_known
from chairapp.judge.numbers import is_number
from chairapp.judge.rim import STATIONS
from chairapp.judge.shapes import Doc, Rows, Value

EVENTS = ["attachment", "printed", "movement", "outcome", "erasure"]
CLINICAL = ["answer", "reading", "withdrawal", "adjustment", "acceptance", "note"]
WITHDRAWABLE = ["reading", "check", "adjustment", "acceptance", "note", "attachment"]
# What a visit is found and trusted by; of an erasure the reason stays.
NEVER_ERASED = ["opened", "signature", "erasure"]
BY_EYE = "looks_parallel"

_TEXTS = ["id", "visit", "kind", "at", "device", "author"]


def in_order(index: Doc, entries: Rows) -> Rows:
    """Every entry once, in (clock, id) order; those this sequence understands have been looked at.

    An entry whose value was erased is left out, as if it had been withdrawn.

    Raises InputError for an entry of the wrong shape, two entries of one id that differ, entries of two visits.
    """
    if not isinstance(entries, (list, tuple)):
        raise InputError("entries", "not a list.", "Give a list of entries.")
    by_id: Doc = {}
    for entry in entries:
        _check_envelope(entry)
        known = by_id.setdefault(entry["id"], entry)
        if known is not entry and known != entry:
            raise InputError(
                "id", "two entries have this id: " + entry["id"] + ".", "Keep the one that was stored first."
            )
    rows = _with_values(sorted(by_id.values(), key=place))
    for entry in rows:
        if entry["visit"] != rows[0]["visit"]:
            raise InputError("visit", "entries of more than one visit.", "Judge one visit at a time.")
        if is_known(index, entry):
            _check_value(index, entry)
    return rows


def _with_values(rows: Rows) -> Rows:
    erased = {}
    for entry in rows:
        if entry["kind"] == "erasure":
            erased[entry["of"]] = entry
    if not erased:
        return rows
    return [entry for entry in rows if entry["id"] not in erased or entry["kind"] in NEVER_ERASED]


def place(entry: Doc) -> tuple[float, float, str]:
    """What an entry is sorted by."""
    return (entry["clock"][0], entry["clock"][1], entry["id"])


def number_of(value: Value) -> float:
    """The number of a reading, taken with the pad or from a photograph."""
    number: float = value["photo"] if isinstance(value, dict) else value
    return number


def _check_envelope(entry: Doc) -> None:
    if not isinstance(entry, dict):
        raise InputError("entry", "not an object.", "Give entries as objects.")
    for name in _TEXTS:
        if not isinstance(entry.get(name), str) or not entry[name]:
            raise InputError(name, "missing or no text.", "Give every entry this field.")
    for name in ("item", "of", "value"):
        if name not in entry:
            raise InputError(name, "missing.", "Give every entry this field, null where it has none.")
    for name in ("item", "of"):
        if not (entry[name] is None or isinstance(entry[name], str)):
            raise InputError(name, "neither a text nor null.", "Give a name or null.")
    if not _is_texts(entry.get("seen")):
        raise InputError("seen", "missing or no list of ids.", "List the adjustments that were known.")
    clock = entry.get("clock")
    if not isinstance(clock, (list, tuple)) or len(clock) != 2 or not (_is_count(clock[0]) and _is_count(clock[1])):
        raise InputError("clock", "not [milliseconds, counter].", "Give two whole numbers.")


def _check_value(index: Doc, entry: Doc) -> None:
    """Raises InputError naming the place in the value that is wrong."""
    look = _LOOKS.get(entry["kind"])
    if look is not None:
        look(index, entry)


def _opened(_index: Doc, entry: Doc) -> None:
    _need(isinstance(entry["value"], dict), entry, "value", "an object")


def _answer(index: Doc, entry: Doc) -> None:
    item, value = index["items"][entry["item"]], entry["value"]
    if value is None:
        return
    if item["kind"] == "reading":
        _need(item["by_eye"] and value == BY_EYE, entry, "value", "entered as a reading")
    else:
        _ANSWERS[item["kind"]](item, entry, value)


def _choice(item: Doc, entry: Doc, value: Value) -> None:
    _need(isinstance(value, str) and value in item["choices"], entry, "value", "one of its choices")


def _number(_item: Doc, entry: Doc, value: Value) -> None:
    _need(is_number(value), entry, "value", "a number")


def _stations(item: Doc, entry: Doc, value: Value) -> None:
    _need(isinstance(value, dict), entry, "value", "an object of stations")
    for station in value:
        _need(station in STATIONS, entry, "value." + str(station), "a station")
        if item["unit"] is None:
            _need(value[station] is True or value[station] is False, entry, "value." + station, "true or false")
        else:
            _need(is_number(value[station]), entry, "value." + station, "a number")


def _text(_item: Doc, entry: Doc, value: Value) -> None:
    _need(isinstance(value, str), entry, "value", "a text")


def _list(_item: Doc, entry: Doc, value: Value) -> None:
    _need(_is_texts(value), entry, "value", "a list of texts")


_ANSWERS = {"choice": _choice, "number": _number, "stations": _stations, "text": _text, "list": _list}


def _reading(index: Doc, entry: Doc) -> None:
    item, value = index["items"][entry["item"]], entry["value"]
    _need(item["kind"] == "reading", entry, "kind", "an answer")
    if isinstance(value, dict):
        _need(item["photo"] is not None and list(value) == ["photo"], entry, "value", "a number")
        _need(is_number(value["photo"]), entry, "value.photo", "a number")
    else:
        _need(is_number(value), entry, "value", "a number")


def _second(index: Doc, entry: Doc) -> None:
    """A supervisor's own: a reading, or the answer to what is not read."""
    if index["items"][entry["item"]]["kind"] == "reading":
        _reading(index, entry)
    else:
        _need(entry["value"] is not None, entry, "value", "an answer")
        _answer(index, entry)


def _withdrawal(_index: Doc, entry: Doc) -> None:
    _need(isinstance(entry["of"], str), entry, "of", "the id of an entry")


def _adjustment(_index: Doc, entry: Doc) -> None:
    value = entry["value"]
    _need(isinstance(value, dict), entry, "value", "an object")
    _need(value.get("rim") in ("upper", "lower"), entry, "value.rim", "upper or lower")
    _need(value.get("surface") in ("height", "labial", "base"), entry, "value.surface", "height, labial or base")
    stations = value.get("stations")
    _need(isinstance(stations, dict), entry, "value.stations", "an object of stations")
    for station in stations:
        _need(station in STATIONS, entry, "value.stations." + str(station), "a station")
        _need(is_number(stations[station]), entry, "value.stations." + station, "a number")


def _acceptance(_index: Doc, entry: Doc) -> None:
    value = entry["value"]
    _need(isinstance(value, dict), entry, "value", "an object")
    _need(isinstance(value.get("reason"), str), entry, "value.reason", "a text")
    codes = value.get("codes")
    _need(isinstance(codes, (list, tuple)), entry, "value.codes", "a list")
    for code in codes:
        fine = isinstance(code, (list, tuple)) and len(code) == 2 and isinstance(code[0], str) and _is_plain(code[1])
        _need(fine, entry, "value.codes", "a list of [code, value]")


def _note(_index: Doc, entry: Doc) -> None:
    _need(isinstance(entry["value"], str), entry, "value", "a text")


def _signature(_index: Doc, entry: Doc) -> None:
    value = entry["value"]
    _need(isinstance(value, dict), entry, "value", "an object")
    covers = value.get("covers")
    fine = isinstance(covers, dict) and _is_texts(list(covers)) and _is_texts(list(covers.values()))
    _need(fine, entry, "value.covers", "an object of devices and entry ids")


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
}


def _need(fine: bool, entry: Doc, field: str, wanted: str) -> None:
    if not fine:
        about = entry["item"] or entry["kind"]
        raise InputError(field, about + " is not " + wanted + ".", "Correct it and enter it again.")


def _is_texts(value: Value) -> bool:
    if not isinstance(value, (list, tuple)):
        return False
    # a list, not a generator: those are forty times slower in the browser, and every entry comes through here
    return not [part for part in value if not isinstance(part, str)]


def _is_count(value: Value) -> bool:
    """Milliseconds and counters: whole or not, a finite number that is not negative."""
    return type(value).__name__ in ("int", "float") and 0 <= value <= 1e16


def _is_plain(value: Value) -> bool:
    return value is None or isinstance(value, (str, bool)) or is_number(value)
