"""Digests and the hash chain: whoever looks can check that nothing was changed, dropped or put in between.

A chain shows a change to what it covers. It does not show a cut tail or a whole rewrite: for that the head is kept at
the other side of the hop (`Forward`) and printed on what leaves the clinic.

A link is made over the entry's leaf: the digest of its canonical bytes with the value replaced by the value's digest.
So the chain still shows a change of the envelope when a value was erased (`erased`), and still reaches its head over
entries that were purged, of which the leaf is all that stays.
"""

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from itertools import takewhile
from typing import NamedTuple

from sync.entry import Entry, canonical, in_order, read
from sync.erased import without_value
from sync.store import Head, Link, Store

__all__ = ["Flaw", "digest", "digest_of_bytes", "first", "following", "leaf", "linked", "verify", "verify_store"]

# Prefixes keep apart what is hashed for different purposes, so that no entry can pass for another thing's bytes.
_FIRST = b"threemark chain 1 start\n"
_LEAF = b"threemark chain 1 entry\n"
_LINK = b"threemark chain 1 link\n"


def digest(entries: Iterable[Entry]) -> str:
    """SHA-256 (64 hex digits) over the RFC 8785 bytes of the JSON array of the entries in (clock, id) order."""
    return digest_of_bytes([canonical(entry) for entry in in_order(entries)])


def digest_of_bytes(ordered: Sequence[bytes]) -> str:
    """The same for canonical bytes already in (clock, id) order."""
    return hashlib.sha256(b"[" + b",".join(ordered) + b"]").hexdigest()


def first(epoch: str) -> str:
    """The hash before the first entry of a store: two stores with the same entries have different chains."""
    return hashlib.sha256(_FIRST + epoch.encode()).hexdigest()


def following(previous: str, position: int, data: bytes) -> str:
    """The hash after one more entry. `previous` is 64 hex digits, `data` the canonical bytes of the entry."""
    return linked(previous, position, leaf(data))


def leaf(data: bytes, *, bare: bool = False) -> bytes:
    """What the chain holds of an entry, 32 bytes; `bare` for one whose value was replaced by its digest before."""
    return hashlib.sha256(_LEAF + (data if bare else without_value(data))).digest()


def linked(previous: str, position: int, leaf: bytes) -> str:
    """The hash after one more leaf."""
    return hashlib.sha256(_LINK + bytes.fromhex(previous) + position.to_bytes(8, "big") + leaf).hexdigest()


class Flaw(NamedTuple):
    """The first thing wrong in a chain: at which position, and what."""

    position: int
    why: str


def verify(epoch: str, links: Iterable[Link], position: int, head: str, cut: Head | None = None) -> Flaw | None:
    """Walk a chain from its first entry, or from where it was `cut`, to its head (`position`, `head`).

    None when all of it holds.
    """
    expected, previous = (cut.position, cut.hash) if cut else (0, first(epoch))
    for link in links:
        expected += 1
        if link.position != expected:
            return Flaw(expected, f"entry {expected} is missing")
        previous = linked(previous, expected, link.leaf or leaf(link.data, bare=link.bare))
        # Of a purged entry no hash is kept: the next one that was not shows whether its leaf is the right one.
        if not link.leaf and previous != link.hash:
            return Flaw(expected, f"entry {expected} is not what was stored, or one before it was")
    if (expected, previous) != (position, head):
        return Flaw(expected + 1, f"the chain ends after entry {expected}, its head says {position}")
    return None


def verify_store(store: Store) -> Flaw | None:
    """Walk the chain of a store to the head it has now; entries added meanwhile are left out.

    A value that is gone must be so by an erasure.
    """
    head = store.head()
    bare: list[Link] = []
    links = _noting(takewhile(lambda link: link.position <= head.position, store.links()), bare)
    flaw = verify(head.epoch, links, head.position, head.hash, store.cut())
    erased = store.erasures() if bare else {}
    unfounded = [link.position for link in bare if read(link.data)["id"] not in erased]
    if flaw is None and unfounded:
        return Flaw(unfounded[0], f"the value of entry {unfounded[0]} is gone, and no erasure says why")
    return flaw


def _noting(links: Iterable[Link], bare: list[Link]) -> Iterator[Link]:
    for link in links:
        if link.bare:
            bare.append(link)
        yield link
