"""Digests and the hash chain: whoever looks can check that nothing was changed, dropped or put in between.

A chain shows a change to what it covers. It does not show a cut tail or a whole rewrite: for that the head is kept at
the other side of the hop (`Forward`) and printed on what leaves the clinic.
"""

import hashlib
from collections.abc import Iterable, Sequence
from itertools import takewhile
from typing import NamedTuple

from sync.entry import Entry, canonical, in_order
from sync.store import Link, Store

__all__ = ["Flaw", "digest", "digest_of_bytes", "first", "following", "verify", "verify_store"]

# Prefixes keep apart what is hashed for different purposes, so that no entry can pass for another thing's bytes.
_FIRST = b"threemark chain 1 start\n"
_LINK = b"threemark chain 1 entry\n"


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
    return hashlib.sha256(_LINK + bytes.fromhex(previous) + position.to_bytes(8, "big") + data).hexdigest()


class Flaw(NamedTuple):
    """The first thing wrong in a chain: at which position, and what."""

    position: int
    why: str


def verify(epoch: str, links: Iterable[Link], position: int, head: str) -> Flaw | None:
    """Walk a chain from its first entry to its head (`position`, `head`). None when all of it holds."""
    expected, previous = 0, first(epoch)
    for link in links:
        expected += 1
        if link.position != expected:
            return Flaw(expected, f"entry {expected} is missing")
        if following(previous, expected, link.data) != link.hash:
            return Flaw(expected, f"entry {expected} is not what was stored, or one before it was")
        previous = link.hash
    if (expected, previous) != (position, head):
        return Flaw(expected + 1, f"the chain ends after entry {expected}, its head says {position}")
    return None


def verify_store(store: Store) -> Flaw | None:
    """Walk the chain of a store to the head it has now; entries added meanwhile are left out."""
    head = store.head()
    links = takewhile(lambda link: link.position <= head.position, store.links())
    return verify(head.epoch, links, head.position, head.hash)
