"""What disturbs an item: wax added or taken off, a base relieved, and changed answers that start a new round.

An *event* is one such thing about one item. A value counts only if it came after every event that disturbs it:
adjustments must be in its past through `seen`, changed answers before it by the clock.

`vertical.rest_bases` says what was in the mouth while rest was read; wax does not change that: nothing makes it stale.
"""

from chairapp.judge.entries import place
from chairapp.judge.index import items_named
from chairapp.judge.shapes import Doc, Rows, Value

_OTHER_RIM = {"upper": "lower", "lower": "upper"}


def adjustments_of(sequence: Doc, index: Doc, entries: Rows, withdrawn: Doc) -> Rows:
    """The adjustments that stand, in order, each with what it disturbs.

    {"entry", "everywhere": {item: true}, "at": {item: true} (only where touched), "touched": [stations], "voids": {}}.
    A station with 0 mm was not touched; an adjustment that touched nothing disturbs nothing.
    """
    rows = []
    for entry in entries:
        if entry["kind"] == "adjustment" and entry["item"] == "wax" and entry["id"] not in withdrawn:
            rows.append(_reach(sequence, index, entry))
    return rows


def touched(entry: Doc) -> list[str]:
    """The stations where an adjustment added something or took something off."""
    stations = entry["value"]["stations"]
    return [station for station in stations if stations[station] != 0]


def _reach(sequence: Doc, index: Doc, entry: Doc) -> Doc:
    reach: Doc = {"entry": entry, "everywhere": {}, "at": {}, "voids": {}, "touched": touched(entry)}
    if not reach["touched"]:
        return reach
    for row in sequence["disturbs"]:
        if _applies(row, entry["value"]):
            for item in items_named(index, row["stale"]):
                reach["everywhere"][item] = True
            for item in items_named(index, row["at_stations"]):
                reach["at"][item] = True
            for thing in row["voids"]:
                reach["voids"][thing] = True
    reach["everywhere"].pop("vertical.rest_bases", None)
    return reach


def _applies(row: Doc, value: Doc) -> bool:
    if row["rim"] is not None and row["rim"] != value["rim"]:
        return False
    if row["surface"] is not None and row["surface"] != value["surface"]:
        return False
    return not row["added_only"] or max(value["stations"].values()) > 0


def changes_of(sequence: Doc, index: Doc, entries: Rows) -> Doc:
    """{item: [answers that changed something and so began a new round of that item]}, in order.

    The first answer changes nothing, and neither does the same answer again, nor clearing it in between.
    """
    found: Doc = {}
    for row in sequence["rounds"]:
        changed = _changed(entries, row["item"])
        for item in items_named(index, row["starts"]) if changed else []:
            if item != "vertical.rest_bases":
                found[item] = sorted(found.get(item, []) + changed, key=place)
    return found


def _changed(entries: Rows, item: str) -> Rows:
    changed = []
    before = None
    for entry in entries:
        if entry["kind"] == "answer" and entry["item"] == item and entry["value"] is not None:
            if before is not None and entry["value"] != before:
                changed.append(entry)
            before = entry["value"]
    return changed


def disturbs(index: Doc, answers: Doc, reach: Doc, entry: Doc) -> bool:
    """Does this adjustment disturb what this answer or reading says?

    `answers` is {item: its answers in order}: what was in the mouth for rest, and which stations carry a mark, are
    looked up as they stood for the entry.
    """
    item = entry["item"]
    if item in reach["everywhere"]:
        return item != "vertical.rest" or _was_in(answers, reach, entry)
    if item not in reach["at"]:
        return False
    stations = _stations_of(index, answers, entry)
    if stations is None:
        return True
    return bool([station for station in reach["touched"] if station in stations])


def _was_in(answers: Doc, reach: Doc, entry: Doc) -> bool:
    """Was the adjusted rim in the mouth while this rest reading was taken? Not knowing counts as yes."""
    bases = _standing(answers, "vertical.rest_bases", entry)
    return bases not in ("none", _OTHER_RIM[reach["entry"]["value"]["rim"]])


def _stations_of(index: Doc, answers: Doc, entry: Doc) -> list[str] | None:
    """Where on the rim the entry's item stands; null where that is not known."""
    places: list[str] = index["items"][entry["item"]]["at"]
    if places:
        return places
    if not entry["item"].startswith("marks."):
        return None
    own = entry["value"] if isinstance(entry["value"], dict) else {}
    marked = own or _standing(answers, "marks.placed", entry) or {}
    return [station for station in marked if marked[station] is not False]


def _standing(answers: Doc, item: str, entry: Doc) -> Value:
    """The answer of another item as it stood when the entry was made; if it was given only later, the first one."""
    standing = None
    for answer in answers[item]:
        if answer["value"] is not None and (standing is None or place(answer) < place(entry)):
            standing = answer["value"]
    return standing
