"""The entry: its envelope, its bytes, and how a device makes one.

    {"v": 1, "id": UUIDv7, "visit": UUIDv7, "kind": slug, "item": name or null, "value": JSON, "of": id or null,
     "seen": [ids], "at": RFC 3339 UTC ending in Z, "clock": [ms, counter], "device": name, "author": name}

An entry is a plain dict and is never changed. This file is the source of the envelope; the SQL table and the JavaScript
(`browser/`) are checked against it by `tests/sync/golden_entries.json`. What an entry means is not known here.
"""

import json
import re
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from typing import Any, NamedTuple

import rfc8785

from sync.clock import COUNTER_MAX, MS_MAX, HybridClock, Ids, wall_ms

__all__ = [
    "BYTES_MAX",
    "DEPTH_MAX",
    "FIELDS",
    "NUMBER_MAX",
    "Entry",
    "Refusal",
    "Stamper",
    "canonical",
    "check_envelope",
    "frontier",
    "in_order",
    "nfc",
    "read",
    "time_text",
]

Entry = dict[str, Any]

FIELDS = ("v", "id", "visit", "kind", "item", "value", "of", "seen", "at", "clock", "device", "author")
_NAMES = frozenset(FIELDS)
BYTES_MAX = 16 * 1024
DEPTH_MAX = 4
NUMBER_MAX = 2**53 - 1

_ID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")
_KIND = re.compile(r"[a-z][a-z0-9_-]{0,31}")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._:-]{0,79}")
_TIME = re.compile(r"(?:19[7-9]|2\d\d)\d-\d\d-\d\dT(?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d(?:\.\d{1,6})?Z", re.ASCII)


class Refusal(NamedTuple):
    """Why an entry is not taken: the field, what is wrong with it, and what to do."""

    field: str
    why: str
    do: str = "Correct it and enter it again."


def check_envelope(raw: object) -> Refusal | None:
    """The first thing wrong with an entry as it came from outside, or None.

    Fields are looked at in the order of `FIELDS`, after a later version, names unknown and names missing; last the size
    as a whole (field "entry"). Never raises, whatever comes.
    """
    if not isinstance(raw, dict):
        return Refusal("entry", "an entry is a JSON object", "Send an object with the fields of an entry.")
    version: Any = raw.get("v")
    if _is_whole(version) and version > 1:
        # Before its names: a later sort of entry may well have others.
        return Refusal(
            "v", "a newer Threemark wrote this entry", "Update this side; it is then offered again by itself."
        )
    names = _check_names(raw)
    if names:
        return names
    for name in _OTHER_FIELDS if _named_well(raw) else FIELDS:
        why = _CHECKS[name](raw[name])
        if why:
            return Refusal(name, f"{name} {why}")
    if not _is_short(raw) and len(canonical(raw)) > BYTES_MAX:
        return Refusal("entry", f"the entry is larger than {BYTES_MAX} bytes", "Make it shorter.")
    return None


def canonical(thing: object) -> bytes:
    """The RFC 8785 bytes of a JSON value: equal values give equal bytes, in Python and in the browser.

    Raises ValueError for what JSON cannot say (NaN, half a character, numbers a browser cannot hold).
    """
    # The encoder in C is three times as fast and agrees with RFC 8785 on all but what `_is_plain` sorts out.
    return _encode(thing).encode() if _is_plain(thing) else rfc8785.dumps(thing)  # type: ignore[arg-type]


def read(data: bytes) -> Entry:
    """An entry from its canonical bytes. Whole numbers come back as int, whatever they were before."""
    entry: Entry = json.loads(data)
    return entry


def in_order(entries: Iterable[Entry]) -> list[Entry]:
    """The entries in (clock, id) order, the order in which they count."""
    return sorted(entries, key=lambda entry: (entry["clock"], entry["id"]))


def frontier(entries: Sequence[Entry], kinds: Iterable[str]) -> list[str]:
    """Ids, sorted, of the entries of these kinds that are not in the past of another of them.

    The past of an entry is what it names in `seen`, what those name, and so on. This is the `seen` of a new entry made
    by a device that knows `entries`.
    """
    wanted = frozenset(kinds)
    known = {entry["id"]: entry["seen"] for entry in entries if entry["kind"] in wanted}
    past: set[str] = set()
    todo = [before for seen in known.values() for before in seen]
    while todo:
        before = todo.pop()
        if before not in past:
            past.add(before)
            todo.extend(known.get(before, ()))
    return sorted(known.keys() - past)


def nfc(value: Any) -> Any:
    """The same JSON value with every text in Unicode normal form C, the only form an entry may hold."""
    if isinstance(value, str):
        return unicodedata.normalize("NFC", value)
    if isinstance(value, list):
        return [nfc(part) for part in value]
    if isinstance(value, dict):
        return {nfc(key): nfc(part) for key, part in value.items()}
    return value


def time_text(ms: int) -> str:
    """RFC 3339 in UTC with Z, to the millisecond."""
    return datetime.fromtimestamp(ms / 1000, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class Stamper:
    """Makes the entries of one device: gives ids and clocks in order.

    `last` is the device's latest entry (`store.latest(device)`), so that the order holds over a restart.
    """

    def __init__(self, device: str, *, wall: Callable[[], int] = wall_ms, last: Entry | None = None) -> None:
        self.device = device
        self._wall = wall
        self._ids = Ids(wall, last=last["id"] if last else "")
        self._clock = HybridClock(wall, last=(last["clock"][0], last["clock"][1]) if last else (0, 0))

    def entry(
        self,
        visit: str,
        kind: str,
        *,
        author: str,
        item: str | None = None,
        value: Any = None,
        of: str | None = None,
        seen: Iterable[str] = (),
    ) -> Entry:
        """A new entry with its text in NFC. Pass it through `check_envelope` when the value is a person's."""
        now, stamp = self._wall(), self._clock.tick()
        return {
            "v": 1,
            "id": self._ids.next(),
            "visit": visit,
            "kind": kind,
            "item": item,
            "value": nfc(value),
            "of": of,
            "seen": list(seen),
            "at": time_text(now),
            "clock": list(stamp),
            "device": self.device,
            "author": author,
        }

    def new_id(self) -> str:
        """A fresh id, for a new visit."""
        return self._ids.next()

    def merge(self, entry: Entry) -> bool:
        """Let later entries follow this one. False, and nothing merged, when its clock is over 366 days ahead."""
        ms, counter = entry["clock"]
        return self._clock.merge((ms, counter))


_encode = json.JSONEncoder(sort_keys=True, ensure_ascii=False, separators=(",", ":"), check_circular=False).encode


def _is_plain(thing: object) -> bool:
    """Whether Python's own JSON of a value is its RFC 8785 form: names in ASCII, numbers that both write alike."""
    parts = [thing]
    for part in parts:  # and what is put behind them meanwhile: a call for each would cost more than the look
        kind = type(part)
        if kind is str or part is None or kind is bool:
            continue
        if kind is dict:
            if not _are_plain_names(part):  # type: ignore[arg-type]
                return False
            parts.extend(part.values())  # type: ignore[attr-defined]
        elif kind is list:
            parts.extend(part)  # type: ignore[arg-type]
        elif not _is_plain_number(part):
            return False
    return True


def _are_plain_names(names: Iterable[Any]) -> bool:
    try:
        return "".join(names).isascii()
    except TypeError:
        return False


def _is_plain_number(thing: object) -> bool:
    if type(thing) is int:
        return -NUMBER_MAX <= thing <= NUMBER_MAX
    return type(thing) is float and 1e-4 <= abs(thing) < 1e15 and not thing.is_integer()


def _named_well(entry: Entry) -> bool:
    """Whether ids and names are in order: one look at all of them costs a third of one at each.

    No pattern lets a line break pass, so that a field cannot stand in for its neighbour.
    """
    try:
        return _NAMES_TOGETHER.fullmatch("\n".join([entry[name] for name in _NAME_FIELDS])) is not None
    except TypeError:
        return False


def _is_short(entry: Entry) -> bool:
    """Whether a look tells that it cannot be too large: all but `value` and `seen` are short by their shape."""
    value = entry["value"]
    # A character takes at most six bytes.
    short = len(value) < 1000 if isinstance(value, str) else value is None or isinstance(value, int | float)
    return short and len(entry["seen"]) < 100


def _check_names(raw: dict[Any, Any]) -> Refusal | None:
    if raw.keys() == _NAMES:
        return None
    unknown = sorted(str(name) for name in raw if name not in FIELDS)
    if unknown:
        name = unknown[0] if _NAME.fullmatch(unknown[0]) else "entry"
        return Refusal(name, "an entry has no such field", f"Leave it out; the fields are {', '.join(FIELDS)}.")
    for name in FIELDS:
        if name not in raw:
            return Refusal(name, f"{name} is missing", "Send every field of an entry.")
    return None


def _version(value: object) -> str:
    return "" if _is_whole(value) and value == 1 else "must be 1"


def _an_id(value: object) -> str:
    return "" if isinstance(value, str) and _ID.fullmatch(value) else "must be a UUID of version 7 in lower case"


def _kind(value: object) -> str:
    good = isinstance(value, str) and _KIND.fullmatch(value)
    return "" if good else "must be a word of at most 32 small letters, digits, - and _"


def _name(value: object) -> str:
    good = isinstance(value, str) and _NAME.fullmatch(value)
    return "" if good else "must be a name of at most 80 letters, digits, dot, colon, - and _"


def _item(value: object) -> str:
    return "" if value is None else _name(value)


def _of(value: object) -> str:
    return "" if value is None else _an_id(value)


def _seen(value: object) -> str:
    if not isinstance(value, list):
        return "must be a list of ids"
    if any(_an_id(part) for part in value):
        return "must hold UUIDs of version 7 in lower case only"
    return "" if len(set(value)) == len(value) else "names an entry twice"


def _at(value: object) -> str:
    wrong = "must be a time in UTC such as 2026-11-25T09:30:00Z"
    if not isinstance(value, str) or not _TIME.fullmatch(value):
        return wrong
    try:
        datetime.fromisoformat(value)
    except ValueError:
        return wrong
    return ""


def _clock(value: object) -> str:
    wrong = "must be [milliseconds, counter], two whole numbers"
    if not isinstance(value, list) or len(value) != 2:
        return wrong
    ms, counter = value
    good = _is_whole(ms) and _is_whole(counter) and 0 <= ms <= MS_MAX and 0 <= counter <= COUNTER_MAX
    return "" if good else wrong


def _value(value: object) -> str:
    return _value_at(value, DEPTH_MAX)


def _value_at(value: object, deeper: int) -> str:
    """What is wrong with a value that may hold lists and objects nested `deeper` more times."""
    if value is None or isinstance(value, bool):
        return ""
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, int | float):
        # Beyond this a browser cannot tell whole numbers apart; the comparison is false for NaN too.
        return "" if -NUMBER_MAX <= value <= NUMBER_MAX else "holds a number that is not finite or too large"
    if not isinstance(value, list | dict):
        return "must be JSON"
    if deeper == 0:
        return f"is nested deeper than {DEPTH_MAX}"
    return _parts(value, deeper - 1)


def _parts(value: list[Any] | dict[Any, Any], deeper: int) -> str:
    if isinstance(value, dict):
        wrong = next(filter(None, map(_key, value)), "")
        if wrong:
            return wrong
        value = list(value.values())
    return next(filter(None, (_value_at(part, deeper) for part in value)), "")


def _key(value: object) -> str:
    return _text(value) if isinstance(value, str) else "must have texts as names"


def _text(value: str) -> str:
    if value.isascii():
        return ""
    try:
        value.encode()
    except UnicodeEncodeError:
        return "holds half a character (a lone surrogate)"
    return "" if unicodedata.is_normalized("NFC", value) else "holds text that is not in Unicode normal form C"


def _is_whole(value: Any) -> bool:
    # 1.0 and 1 are the same number in JSON and have the same canonical bytes.
    return isinstance(value, int | float) and not isinstance(value, bool) and value == value // 1


_CHECKS: dict[str, Callable[[object], str]] = {
    "v": _version,
    "id": _an_id,
    "visit": _an_id,
    "kind": _kind,
    "item": _item,
    "value": _value,
    "of": _of,
    "seen": _seen,
    "at": _at,
    "clock": _clock,
    "device": _name,
    "author": _name,
}

_NAME_FIELDS = ("id", "visit", "kind", "device", "author")
_OTHER_FIELDS = tuple(name for name in FIELDS if name not in _NAME_FIELDS)
_NAMES_TOGETHER = re.compile("\n".join(part.pattern for part in (_ID, _ID, _KIND, _NAME, _NAME)))
