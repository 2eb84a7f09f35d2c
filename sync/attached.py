"""Which attachment an entry is about: its bytes travel apart, under their SHA-256.

An entry of kind "attachment" names bytes in its value, {"sha256": name, ...}; an erasure of such an entry names those
that have to go, {"blob": name, ...}, so that whoever hears of it first, or of nothing else, knows them.
"""

import re
from collections.abc import Iterable, Iterator
from typing import Any

from sync.entry import Entry

__all__ = ["ATTACHMENT", "ERASURE", "attachment_row", "erased_in", "name_in", "names_in"]

ATTACHMENT = "attachment"
ERASURE = "erasure"

_NAME = re.compile(r"[0-9a-f]{64}")


def name_in(entry: Entry) -> str | None:
    """The bytes an entry names; None for one that names none, or whose value is gone."""
    return _field(entry, "sha256") if entry["kind"] == ATTACHMENT else None


def names_in(entries: Iterable[Entry]) -> Iterator[str]:
    return filter(None, map(name_in, entries))


def erased_in(entry: Entry) -> str | None:
    """The bytes an erasure takes away together with a value."""
    return _field(entry, "blob") if entry["kind"] == ERASURE else None


def attachment_row(entry: Entry) -> dict[str, Any] | None:
    """What an SQL store notes of an entry that names bytes or takes them away."""
    named, erased = name_in(entry), erased_in(entry)
    return {"entry": entry["id"], "name": named or erased, "erased": not named} if named or erased else None


def _field(entry: Entry, field: str) -> str | None:
    value = entry["value"]
    name = value.get(field) if isinstance(value, dict) else None
    return name if isinstance(name, str) and _NAME.fullmatch(name) else None
