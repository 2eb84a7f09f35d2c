"""Fills in the envelope of a case's entries, one after the other."""

import hashlib
import re
from typing import Any

from chairapp.case.read import Case
from chairapp.sequence.errors import InputError
from sync.entry import Entry, frontier, nfc, time_text

START_MS = 1_767_258_000_000  # 2026-01-01T09:00:00Z: a case without times is judged the same on any day
STEP_MS = 20_000
LAST_MS = 253_402_300_799_999  # the end of the year 9999

_UUID7 = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")


class Book:
    """The entries so far, and the names by which later ones may point at them."""

    def __init__(self, case: Case, start: int, device: str) -> None:
        self.entries: list[Entry] = []
        self._case = case
        self._device = device
        self._next = start
        self._visit = self._made_id("visit", start)
        self._named: dict[str, str] = {}
        self._listed: list[str] = []

    def add(self, place: str, row: dict[str, Any]) -> None:
        """One more entry from what the case gives of it. Raises InputError."""
        ms, counter = self._clock(place, row)
        entry = {
            "v": 1,
            "id": self._id(place, row, ms),
            "visit": self._visit,
            "kind": row["kind"],
            "item": row.get("item"),
            "value": nfc(row.get("value")),
            "of": self._pointed(place, row.get("of")),
            "seen": self._seen(place, row),
            "at": time_text(ms),
            "clock": [ms, counter],
            "device": self._device,
            "author": self._case.author,
        }
        entry |= {name: row[name] for name in ("v", "visit", "at", "device", "author") if name in row}
        self._know_item_of_withdrawn(entry)
        self.entries.append(entry)

    def _clock(self, place: str, row: dict[str, Any]) -> tuple[int, int]:
        clock = row.get("clock", [self._next, 0])
        whole = isinstance(clock, list) and len(clock) == 2 and all(type(part) is int and part >= 0 for part in clock)
        if not whole or clock[0] > LAST_MS:
            raise InputError(
                f"{place}.clock", "it is not [milliseconds, counter]", "give two whole numbers or leave it out"
            )
        self._next = clock[0] + STEP_MS
        return clock[0], clock[1]

    def _id(self, place: str, row: dict[str, Any], ms: int) -> str:
        """The id given, or made; a short name given in its place is remembered."""
        name = row.get("id")
        if name is not None and (not isinstance(name, str) or not name):
            raise InputError(f"{place}.id", "it is not a text", "give a name or leave it out")
        if name in self._named:
            raise InputError(f"{place}.id", f"'{name}' is the id of an entry before", "give each entry its own")
        made = name if name is not None and _UUID7.fullmatch(name) else self._made_id(str(len(self.entries)), ms)
        if name is not None:
            self._named[name] = made
        if place.startswith("entries["):
            self._listed.append(made)
        return made

    def _pointed(self, place: str, target: Any) -> str | None:
        """The id that an `of` points at: an id, a name given before, or a place in the list before."""
        if target is None:
            return None
        if type(target) is int and 0 <= target < len(self._listed) - 1:
            return self._listed[target]
        if isinstance(target, str) and (target in self._named or _UUID7.fullmatch(target)):
            return self._id_of(target)
        raise InputError(f"{place}.of", f"{target!r} is no entry before this one", "give its id or its place, from 0")

    def _seen(self, place: str, row: dict[str, Any]) -> list[str]:
        if "seen" not in row:
            return frontier(self.entries, ("adjustment",))
        seen = row["seen"]
        if not isinstance(seen, list) or any(not isinstance(name, str) for name in seen):
            raise InputError(f"{place}.seen", "it is not a list of ids", "give a list or leave it out")
        return [self._id_of(name) for name in seen]

    def _id_of(self, name: str) -> str:
        return self._named.get(name, name)

    def _know_item_of_withdrawn(self, entry: Entry) -> None:
        if entry["kind"] == "withdrawal" and entry["item"] is None:
            items = {known["id"]: known["item"] for known in self.entries}
            entry["item"] = items.get(entry["of"])

    def _made_id(self, what: str, ms: int) -> str:
        """A UUID of version 7 that is the same whenever the same case is read."""
        digits = hashlib.sha256(f"{self._case.name}\n{what}".encode()).hexdigest()
        return f"{ms >> 16:08x}-{ms & 0xFFFF:04x}-7{digits[:3]}-8{digits[3:6]}-{digits[6:18]}"
