"""What the lines of the journal under a store say, as JSON.

    {"journal": 1, "epoch": name, "cut": [position, hash]}   the store's name and where its chain begins; twice
    {"e": [entries], "h": [hashes], "p": position, "r": ms, "s": source, "x": [offsets]}
        a change: entries from position `p` on, the chain's hash after each, when and from where they came; the value of
        those at the offsets `x` was replaced by its digest
    {"g": [leaves], "h": hash, "p": position}
        purged entries: what the chain holds of each, and its hash after the last

Hashes and leaves in base64. `cut`, `s` and `x` are left out where there is none.
"""

import base64
import json
from collections.abc import Callable, Iterator, Sequence
from itertools import groupby
from typing import Any, NamedTuple

from sync import seal
from sync.entry import Entry, canonical
from sync.store import Head

__all__ = [
    "FORMAT",
    "Change",
    "Gone",
    "change_line",
    "gone_line",
    "header_line",
    "read_change",
    "read_gone",
    "rewritten",
]

FORMAT = 1


class Change(NamedTuple):
    """Entries that came at once; `bare` are the offsets of those without their value."""

    entries: list[Entry]
    hashes: list[bytes]
    position: int
    received: int
    source: str
    bare: frozenset[int]


class Gone(NamedTuple):
    """Purged entries that stood one after the other, and the chain's hash after the last of them."""

    leaves: list[bytes]
    hash: bytes
    position: int


def header_line(epoch: str, cut: Head | None = None) -> bytes:
    begun = {"cut": [cut.position, cut.hash]} if cut and cut.position else {}
    return json.dumps({"journal": FORMAT, "epoch": epoch, **begun}).encode()


def change_line(
    parts: Sequence[bytes], hashes: Sequence[bytes], position: int, received: int, source: str, bare: Sequence[int]
) -> bytes:
    """`parts` are the canonical bytes of the entries, put in as they are."""
    coded = b",".join(b'"%b"' % base64.b64encode(hash_) for hash_ in hashes)
    tail = b',"s":%b' % json.dumps(source).encode() if source else b""
    tail += b',"x":%b' % json.dumps(bare).encode() if bare else b""
    return b'{"e":[%b],"h":[%b],"p":%d,"r":%d%b}' % (b",".join(parts), coded, position, received, tail)


def gone_line(gone: Gone) -> bytes:
    leaves = [base64.b64encode(leaf).decode() for leaf in gone.leaves]
    return json.dumps({"g": leaves, "h": base64.b64encode(gone.hash).decode(), "p": gone.position}).encode()


def read_change(line: Any) -> Change:
    hashes = [_as_bytes(hash_) for hash_ in line["h"]]
    return Change(line["e"], hashes, line["p"], line["r"], line.get("s", ""), frozenset(line.get("x", ())))


def read_gone(line: Any) -> Gone:
    return Gone([_as_bytes(leaf) for leaf in line["g"]], _as_bytes(line["h"]), line["p"])


def rewritten(
    line: Any, cut: Head, is_gone: Callable[[Entry], bool], erased: Callable[[Entry], Entry | None]
) -> Iterator[bytes]:
    """The lines to take the place of one: entries that are gone leave their leaf, erased ones lose their value.

    What stands at or before `cut` is left out. `erased` gives an entry without its value, None for one that keeps it.
    """
    if "journal" in line:
        yield header_line(line["epoch"], cut)
    elif "g" in line:
        yield from _after(cut, read_gone(line))
    else:
        yield from _split(read_change(line), cut, is_gone, erased)


def _split(
    change: Change, cut: Head, is_gone: Callable[[Entry], bool], erased: Callable[[Entry], Entry | None]
) -> Iterator[bytes]:
    for gone, group in groupby(enumerate(change.entries), lambda place: is_gone(place[1])):
        places = list(group)
        first, last = places[0][0], places[-1][0]
        if gone:
            leaves = [seal.leaf(canonical(entry), bare=offset in change.bare) for offset, entry in places]
            yield from _after(cut, Gone(leaves, change.hashes[last], change.position + first))
            continue
        shorn = [erased(entry) for _, entry in places]
        bare = [n for n, (offset, _) in enumerate(places) if shorn[n] or offset in change.bare]
        parts = [canonical(shorn[n] or entry) for n, (_, entry) in enumerate(places)]
        hashes = change.hashes[first : last + 1]
        yield change_line(parts, hashes, change.position + first, change.received, change.source, bare)


def _after(cut: Head, gone: Gone) -> Iterator[bytes]:
    left = gone.leaves[max(cut.position + 1 - gone.position, 0) :]
    if left:
        yield gone_line(Gone(left, gone.hash, gone.position + len(gone.leaves) - len(left)))


def _as_bytes(coded: str) -> bytes:
    """Raises ValueError also for other base64 of the same bytes: its last letter has bits that stand for nothing."""
    data = base64.b64decode(coded)
    if base64.b64encode(data).decode() != coded:
        raise ValueError("not the base64 that is written here")
    return data
