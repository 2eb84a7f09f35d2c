"""Every answer and reading of a visit as a row: its value, its round, and whether it is in force."""

from collections.abc import Iterator
from typing import Any

from chairapp.export.source import Visit
from chairapp.judge.entries import BY_EYE
from chairapp.judge.numbers import is_number
from chairapp.judge.rim import STATIONS
from sync.entry import time_text

__all__ = ["ANSWERS", "STATIONS_TABLE", "answers", "stations"]

Doc = dict[str, Any]
Row = dict[str, Any]
_KINDS = ("answer", "reading", "check")

ANSWERS = (
    "visit",
    "box_code",
    "entry",
    "kind",
    "step",
    "item",
    "value",
    "unit",
    "from_photograph",
    "author",
    "author_name",
    "device",
    "at",
    "received",
    "round",
    "in_force",
    "why_not",
)
STATIONS_TABLE = ("visit", "box_code", "entry", "item", "station", "value", "unit", "in_force")


def answers(visit: Visit) -> Iterator[Row]:
    """In the order in which they count."""
    fates = _Fates(visit)
    for entry in visit.entries:
        if entry["kind"] in _KINDS:
            yield _row(visit, entry, fates)


def stations(visit: Visit) -> Iterator[Row]:
    """One row a station of every answer that has values along the rim."""
    fates = _Fates(visit)
    for entry in visit.entries:
        value = entry["value"]
        if entry["kind"] == "answer" and isinstance(value, dict) and fates.of(entry) != "value erased":
            for station in (*STATIONS, *sorted(value.keys() - set(STATIONS))):
                if station in value:
                    yield {
                        "visit": visit.id,
                        "box_code": box_code(visit),
                        "entry": entry["id"],
                        "item": entry["item"],
                        "station": station,
                        "value": value[station],
                        "unit": fates.unit(entry),
                        "in_force": not fates.of(entry),
                    }


def box_code(visit: Visit) -> str | None:
    opened = visit.opened
    return opened["value"].get("box") if opened else None


def _row(visit: Visit, entry: Doc, fates: "_Fates") -> Row:
    why_not = fates.of(entry)
    arrived = visit.arrived[entry["id"]]
    return {
        "visit": visit.id,
        "box_code": box_code(visit),
        "entry": entry["id"],
        "kind": entry["kind"],
        "step": fates.step(entry),
        "item": entry["item"],
        "value": None if why_not == "value erased" else told(entry["value"]),
        "unit": fates.unit(entry),
        "from_photograph": isinstance(entry["value"], dict) and "photo" in entry["value"],
        "author": entry["author"],
        "author_name": visit.source.people.get(entry["author"]),
        "device": entry["device"],
        "at": entry["at"],
        "received": time_text(arrived.received),
        "round": fates.round(entry),
        "in_force": not why_not,
        "why_not": why_not or None,
    }


def told(value: Any) -> str | float | None:
    """A value in one cell: a number as it is, "front 0; canine_right 0.5", "upper_rim; record"."""
    if isinstance(value, dict):
        if list(value) == ["photo"]:
            return told(value["photo"])
        return "; ".join(_at(station, one) for station, one in value.items())
    if isinstance(value, list):
        return "; ".join(str(part) for part in value)
    return value if value is None or is_number(value) else str(value)


def _at(station: str, value: Any) -> str:
    return station if value is True else f"{station} {value:g}" if is_number(value) else f"{station} {value}"


class _Fates:
    """What became of each answer and reading of one visit."""

    def __init__(self, visit: Visit) -> None:
        view = visit.view
        self._trouble = visit.trouble
        self._rows: Doc = view["state"]["items"] if view else {}
        self._items, self._steps = _items(visit.sequence)
        self._erased = {entry["of"] for entry in visit.entries if entry["kind"] == "erasure"}
        self._taken_back = {entry["of"] for entry in visit.entries if entry["kind"] == "withdrawal"}
        self._rounds = _rounds(visit, self._rows, self._taken_back | self._erased)

    def of(self, entry: Doc) -> str:
        """Why it is not in force; "" when it is."""
        row = self._rows.get(entry["item"])
        if entry["id"] in self._erased:
            return "value erased"
        if row is None:
            return f"not judged: {self._trouble}" if self._trouble else "not understood by its sequence"
        if entry["kind"] == "check":
            return "taken back" if entry["id"] in self._taken_back else "a second reading, never judged"
        if entry["kind"] == "reading":
            return self._of_reading(entry, row)
        return self._of_answer(entry, row)

    def round(self, entry: Doc) -> int | None:
        """1 for the first round of its item; None for what belongs to none."""
        return self._rounds.get(entry["id"])

    def unit(self, entry: Doc) -> str | None:
        item = self._items.get(entry["item"])
        return item["unit"] if item else None

    def step(self, entry: Doc) -> str | None:
        return self._steps.get(entry["item"])

    def _of_reading(self, entry: Doc, row: Doc) -> str:
        if entry["id"] in {reading["id"] for reading in row["readings"]}:
            return ""
        return "taken back" if entry["id"] in self._taken_back else _disturbed(row)

    def _of_answer(self, entry: Doc, row: Doc) -> str:
        if entry["value"] is None:
            return "cleared the answer"
        if entry["value"] == BY_EYE and row["readings"]:
            return "a number was read in the same round"
        if entry["id"] == row["id"]:
            return "" if row["fresh"] or row["missing"] else _disturbed(row)
        beaten = {one["id"] for one in row["beaten"]}
        return "replaced by a later answer" if entry["id"] in beaten or row["value"] is None else _disturbed(row)


def _disturbed(row: Doc) -> str:
    """The round it belongs to is over; what ended it is said for the latest one, which is to be read again."""
    by = row["stale_by"]
    if not by:
        return "of an earlier round"
    unaware = ", of which its tablet did not know" if by["unaware"] else ""
    what = "wax or a base was changed" if by["kind"] == "adjustment" else f"{by['item']} was answered anew"
    return f"{what} at {by['at']}{unaware}"


def _items(sequence: Doc | None) -> tuple[Doc, dict[str, str]]:
    steps = sequence["steps"] if sequence else []
    items = {item["id"]: item for step in steps for item in step["items"]}
    return items, {item["id"]: step["id"] for step in steps for item in step["items"]}


def _rounds(visit: Visit, rows: Doc, gone: set[str | None]) -> dict[str, int]:
    """The number of the round of every answer and reading that was judged.

    A row gives its earlier rounds as lists of values, each in the order of the entries: an entry is the next one of the
    first round whose next value is its own.
    """
    left = {item: [list(values) for values in row["rounds"]] for item, row in rows.items()}
    found: dict[str, int] = {}
    for entry in visit.entries:
        row = rows.get(entry["item"])
        if row is None or entry["kind"] not in ("answer", "reading") or entry["id"] in gone or entry["value"] is None:
            continue
        found[entry["id"]] = _present(row) if entry["id"] in _now(row) else _next_of(left[entry["item"]], entry, row)
    return found


def _present(row: Doc) -> int:
    return len(row["rounds"]) + 1


def _now(row: Doc) -> set[str]:
    """Ids of the present round."""
    if row["stale_by"]:
        return set()
    ids = {one["id"] for one in (*row["readings"], *row["beaten"])}
    return ids | ({row["id"]} if row["value"] is not None or row["missing"] else set())


def _next_of(left: list[list[Any]], entry: Doc, row: Doc) -> int:
    value = (
        entry["value"]["photo"] if isinstance(entry["value"], dict) and "photo" in entry["value"] else entry["value"]
    )
    for number, values in enumerate(left, start=1):
        if values and values[0] == value:
            values.pop(0)
            return number
    return _present(row)
