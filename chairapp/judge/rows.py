"""The present state of one item: what counts, what is stale and by what, the rounds before."""

from chairapp.judge.disturb import disturbs
from chairapp.judge.entries import BY_EYE, number_of, place
from chairapp.judge.numbers import fix6, mean
from chairapp.judge.rim import STATIONS
from chairapp.judge.shapes import Doc, Rows


def row_of(facts: Doc, item: str) -> Doc:
    """The row of an item, as settle.py describes it.

    facts = {"index", "past", "withdrawn", "adjustments", "changes": {item: [..]}, "answers": {item: [..]},
    "readings": {item: [..]}}.
    """
    given, taken = facts["answers"][item], facts["readings"][item]
    if not given and not taken:
        return _row("open", None, None)
    answers = _judged(facts, given)
    readings = _judged(facts, [entry for entry in taken if entry["id"] not in facts["withdrawn"]])
    if facts["index"]["items"][item]["kind"] == "reading":
        row = _reading_row(answers, readings)
    else:
        row = _answer_row(answers)
    row["withdrawn"] = [_brief(entry) for entry in taken if entry["id"] in facts["withdrawn"]]
    return row


def lacks_stations(index: Doc, rows: Doc) -> None:
    """Marks the S items that still lack stations: an answer that is not whole leaves its item open."""
    for name in index["names"]:
        item, row = index["items"][name], rows[name]
        if item["kind"] == "stations" and row["status"] == "fresh":
            row["missing"] = [station for station in _wanted(item, rows) if station not in row["value"]]
            if row["missing"]:
                row["status"] = "open"
                row["fresh"] = False


def _wanted(item: Doc, rows: Doc) -> list[str]:
    if item["all_stations"]:
        return STATIONS
    if item["id"] == "marks.misfit":
        return marked_stations(rows)
    return []


def marked_stations(rows: Doc) -> list[str]:
    """The stations that carry a mark across both rims, along the arch."""
    placed = rows["marks.placed"]["value"] if "marks.placed" in rows else None
    return [station for station in STATIONS if placed and station in placed and placed[station] is True]


def _judged(facts: Doc, entries: Rows) -> Rows:
    """Each entry with the events that disturb it and that it did not come after: none means the present round."""
    found = []
    for entry in entries:
        found.append({"entry": entry, "missed": _missed(facts, entry)})
    return found


def _missed(facts: Doc, entry: Doc) -> Rows:
    past = facts["past"][entry["id"]]
    missed = []
    for reach in facts["adjustments"]:
        event = reach["entry"]
        if event["id"] not in past and disturbs(facts["index"], facts["answers"], reach, entry):
            missed.append(event)
    # asked with `in`: a `get` that finds nothing costs a raised exception in the browser, here for every entry
    if entry["item"] in facts["changes"]:
        missed = missed + [event for event in facts["changes"][entry["item"]] if place(event) > place(entry)]
    return sorted(missed, key=place) if len(missed) > 1 else missed


def _reading_row(answers: Rows, readings: Rows) -> Doc:
    present = [found["entry"] for found in readings if not found["missed"]]
    if present:
        row = _row("fresh", fix6(mean([number_of(entry["value"]) for entry in present])), present[-1])
    else:
        row = _answer_row(answers)
        if row["status"] != "fresh" and readings:
            row = _row("stale", None, readings[-1]["entry"])
            row["stale_by"] = _cause(readings[-1])
    row["readings"] = [_reading(entry) for entry in present]
    row["rounds"] = _rounds(readings)
    return row


def _answer_row(answers: Rows) -> Doc:
    """The latest answer of the present round; without one the latest of all, which is stale."""
    present = [found for found in answers if not found["missed"]]
    latest = present[-1] if present else (answers[-1] if answers else None)
    if latest is None or latest["entry"]["value"] is None:
        row = _row("open", None, latest["entry"] if latest else None)
    elif present:
        row = _row("fresh", latest["entry"]["value"], latest["entry"])
    else:
        row = _row("stale", latest["entry"]["value"], latest["entry"])
        row["stale_by"] = _cause(latest)
    row["rounds"] = _rounds([found for found in answers if found["entry"]["value"] is not None])
    row["beaten"] = [_brief(found["entry"]) for found in answers if latest and _beaten(found, latest)]
    return row


def _beaten(found: Doc, latest: Doc) -> bool:
    if found is latest or found["entry"]["value"] is None:
        return False
    return _ids(found["missed"]) == _ids(latest["missed"])


def _rounds(found: Rows) -> list[Rows]:
    """Values by the round they were read in, oldest first, without the present one."""
    missed = [one for one in found if one["missed"]]
    if not missed:
        return []
    rounds: Doc = {}
    for one in missed:
        rounds.setdefault(_ids(one["missed"]), []).append(_plain(one["entry"]["value"]))
    return list(rounds.values())


def _plain(value: object) -> object:
    """A reading's number; any other value as it is."""
    return number_of(value) if isinstance(value, dict) and "photo" in value else value


def _ids(entries: Rows) -> str:
    return " ".join([entry["id"] for entry in entries])


def _cause(found: Doc) -> Doc:
    """The first thing the value came too early for, or did not know of."""
    event, entry = found["missed"][0], found["entry"]
    value = event["value"] if event["kind"] == "adjustment" else {}
    return {
        "id": event["id"],
        "kind": event["kind"],
        "item": event["item"],
        "author": event["author"],
        "at": event["at"],
        "rim": value.get("rim"),
        "surface": value.get("surface"),
        "unaware": place(event) < place(entry),
    }


def _row(status: str, value: object, entry: Doc | None) -> Doc:
    return {
        "status": status,
        "fresh": status == "fresh",
        "value": value,
        "missing": [],
        "id": entry["id"] if entry else None,
        "author": entry["author"] if entry else None,
        "at": entry["at"] if entry else None,
        "readings": [],
        "stale_by": None,
        "rounds": [],
        "beaten": [],
        "withdrawn": [],
    }


def _reading(entry: Doc) -> Doc:
    brief = _brief(entry)
    brief["photo"] = isinstance(entry["value"], dict)
    return brief


def _brief(entry: Doc) -> Doc:
    return {"id": entry["id"], "value": _plain(entry["value"]), "author": entry["author"], "at": entry["at"]}


def is_by_eye(row: Doc) -> bool:
    """Was the item judged by eye, without a number in the present round?"""
    return bool(row["value"] == BY_EYE)
