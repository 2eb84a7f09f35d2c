"""Erasure: an entry keeps its envelope, its place and the digest of its value; the value itself goes.

    {"kind": "erasure", "of": id, "item": of that entry, "value": {"reason": text, "sha256": digest of the value}, ...}

is an entry like any other, of the same visit; every store that has it replaces the value it names by
`{"erased": digest}`, whichever of the two comes first. The digest is SHA-256 over the value's RFC 8785 bytes. It names
the value without showing it, but a value of few possibilities (a number) can be guessed and tried.

Of an attachment its bytes go too, wherever no other entry names them; the erasure calls them `"blob"` (`attached.py`).
"""

import hashlib
import re
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from sync.attached import ERASURE, erased_in, name_in
from sync.entry import Entry, Stamper, canonical, nfc, read

__all__ = [
    "ERASURE",
    "Erasing",
    "Erasure",
    "apply",
    "digest_of_value",
    "erasure_in",
    "make",
    "may_erase",
    "names",
    "same",
    "without_value",
]

# RFC 8785 sorts the fields of an entry, and those before the value hold no free text: the first match is the value's.
_BEFORE = b',"v":1,"value":'
_AFTER = len(b',"visit":"01234567-89ab-7def-8123-456789abcdef"}')
_SHA256 = re.compile(r"[0-9a-f]{64}")


class Erasure(NamedTuple):
    """What an erasure says: which entry (`of`) of which visit, the digest of its value, and its own id (`by`)."""

    of: str
    visit: str
    sha256: str
    by: str


class Erasing(NamedTuple):
    """What a batch comes to once erasures are heeded.

    `fresh` are the canonical bytes to append, `bare` the offsets of those whose value is gone already; `wiped` holds
    what is to take the place of entries in the store, by id; `erasures` are those of the batch, without any that means
    another value than its entry has.
    """

    fresh: list[bytes]
    bare: set[int]
    wiped: dict[str, bytes]
    erasures: list[Erasure]


def make(stamper: Stamper, entry: Entry, reason: str, author: str) -> Entry:
    """The entry that erases `entry`'s value. Add it to a store and it is done, there and wherever it is handed on."""
    value = {"reason": nfc(reason), "sha256": digest_of_value(canonical(entry))}
    if name := name_in(entry):
        value["blob"] = name
    return stamper.entry(entry["visit"], ERASURE, author=author, item=entry["item"], value=value, of=entry["id"])


def erasure_in(data: bytes) -> Erasure | None:
    """What an entry (canonical bytes) erases; None for one that erases nothing."""
    if b'"kind":"erasure"' not in data:
        return None
    entry = read(data)
    value = entry["value"]
    digest = value.get("sha256") if isinstance(value, dict) else None
    if entry["kind"] != ERASURE or entry["of"] is None or not (isinstance(digest, str) and _SHA256.fullmatch(digest)):
        return None
    return Erasure(entry["of"], entry["visit"], digest, entry["id"])


def may_erase(parts: Sequence[bytes]) -> bool:
    """Whether an erasure may be among these entries (canonical bytes); a quick look."""
    return any(b'"kind":"erasure"' in part for part in parts)


def names(erasure: Entry, entry: Entry) -> bool:
    """Whether an erasure means this entry and the value it has, or had, and no bytes but that entry's."""
    meant = erasure_in(canonical(erasure))
    if meant is None or meant.of != entry["id"] or _erased(canonical(entry), meant) is None:
        return False
    blob = erased_in(erasure)
    return blob is None or entry["value"] == {"erased": meant.sha256} or blob == name_in(entry)


def without_value(data: bytes) -> bytes:
    """The canonical bytes of an entry with its value replaced by the value's digest."""
    value = _place(data)
    digest = hashlib.sha256(data[value]).hexdigest().encode()
    return b'%b{"erased":"%b"}%b' % (data[: value.start], digest, data[value.stop :])


def digest_of_value(data: bytes) -> str:
    """SHA-256 (64 hex digits) over the RFC 8785 bytes of an entry's value."""
    return hashlib.sha256(data[_place(data)]).hexdigest()


def same(held: bytes, given: bytes) -> bool:
    """Whether two entries of one id are the same entry, the value of one of them erased or not."""
    return held == given or held == without_value(given) or without_value(held) == given


def apply(
    ids: Sequence[str], fresh: Sequence[bytes], held: Callable[[str], bytes | None], known: Mapping[str, Erasure]
) -> Erasing:
    """Heed the erasures among `fresh` (canonical bytes, their ids beside them), and those `known` from before.

    `held` gives the bytes of an entry in the store.
    """
    erasures = [erasure for erasure in map(erasure_in, fresh) if erasure]
    of = {**{erasure.of: erasure for erasure in erasures}, **known}
    parts, bare = list(fresh), set[int]()
    for offset, entry_id in enumerate(ids):
        if entry_id in of and (erased := _erased(parts[offset], of[entry_id])):
            parts[offset] = erased
            bare.add(offset)
    wiped, founded = dict[str, bytes](), list[Erasure]()
    beside = dict(zip(ids, fresh, strict=True))
    for erasure in erasures:
        data = beside.get(erasure.of) or held(erasure.of)
        erased = _erased(data, erasure) if data else None
        if erased or not data:
            founded.append(erasure)
        if erased and erased != data and erasure.of not in beside:
            wiped[erasure.of] = erased
    return Erasing(parts, bare, wiped, founded)


def _erased(data: bytes, erasure: Erasure) -> bytes | None:
    """The entry without its value; None when the erasure means another value, another visit, or an erasure."""
    entry = read(data)
    if entry["kind"] == ERASURE or entry["visit"] != erasure.visit:
        return None
    if entry["value"] == {"erased": erasure.sha256}:
        return data
    return without_value(data) if digest_of_value(data) == erasure.sha256 else None


def _place(data: bytes) -> slice:
    """Where the value stands in the canonical bytes of an entry; all of it in bytes that are none."""
    start = data.find(_BEFORE) + len(_BEFORE)
    stop = len(data) - _AFTER
    return slice(start, stop) if len(_BEFORE) <= start < stop else slice(0, len(data))
