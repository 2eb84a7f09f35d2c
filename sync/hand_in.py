"""Taking in by hand what a tablet saved to a file: what is right goes in, the rest to the drawer, and twice is once.

{"v": 1, "device": {"device": id, ...} or null, "at": time, "outbox": [ids], "refused": [...], "entries": [...],
 "blobs": [{"sha256", "base64", ...}]}
"""

import base64
import binascii
import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sync.blobs import FolderBlobs
from sync.clock import far_ahead, wall_ms
from sync.desk import Check
from sync.entry import Entry, Refusal, check_envelope
from sync.erased import ERASURE
from sync.errors import FileError, SyncError
from sync.store import BATCH, Store

__all__ = ["Taken", "read_file", "take_in"]

VERSION = 1
BYTES_MAX = 1 << 30

_WRONG_CLOCK = Refusal("clock", "the clock is more than 366 days ahead", "Set the date of the device that made it.")
# Whoever can change a file must not be able to take anything away with it.
_NOT_ERASED = Refusal("kind", "nothing is erased by a file", "Erase it at the clinic server.")


@dataclass
class Taken:
    """How many entries were new and how many known; what was refused, with the place in the file; attachments kept."""

    new: int = 0
    known: int = 0
    refused: list[tuple[int, Refusal]] = field(default_factory=list)
    blobs: int = 0


def read_file(path: Path) -> dict[str, Any]:
    """The file of a tablet. Raises FileError naming what is wrong with it as a whole."""
    try:
        if path.stat().st_size > BYTES_MAX:
            raise FileError(f"{path}: larger than any tablet saves ({BYTES_MAX >> 20} MB).")
        content = json.loads(path.read_bytes())
    except OSError as error:
        raise FileError(f"{path}: cannot be read: {error.strerror}.") from None
    except (ValueError, RecursionError):
        raise FileError(f"{path}: not JSON in UTF-8, or cut off.") from None
    if not isinstance(content, dict) or not isinstance(content.get("entries"), list):
        raise FileError(f"{path}: entries: not what a tablet saves to a file, it has no list of entries.")
    if content.get("v") != VERSION:
        raise FileError(f"{path}: v: {content.get('v')!r}, this program reads {VERSION}.")
    return content


def take_in(
    store: Store, content: dict[str, Any], check: Check | None, *, blobs: FolderBlobs | None = None, now: int = 0
) -> Taken:
    """Keep the entries of a file and, with `blobs`, its attachments. Raises StoreError; what was taken is kept then."""
    taken, at = Taken(), now or wall_ms()
    for start in range(0, len(content["entries"]), BATCH):
        _take_batch(store, content, start, check, at, taken)
    for number, blob in enumerate(content.get("blobs") or [] if blobs else []):
        _take_blob(blobs, blob, number, taken)
    return taken


def _take_batch(store: Store, content: dict[str, Any], start: int, check: Check | None, at: int, taken: Taken) -> None:
    batch = content["entries"][start : start + BATCH]
    looked_at = [(raw, _why_not(store, raw, check, at)) for raw in batch]
    added = store.add([raw for raw, refusal in looked_at if refusal is None])
    taken.new += len(added.new)
    taken.known += len(added.stored) - len(added.new)
    for raw, refusal in [*looked_at, *added.refused]:
        if refusal:
            store.refuse(raw, refusal, _sender(content))
            taken.refused.append((start + batch.index(raw), refusal))


def _why_not(store: Store, raw: Any, check: Check | None, at: int) -> Refusal | None:
    wrong = check_envelope(raw)
    if wrong:
        return wrong
    entry: Entry = raw
    if entry["kind"] == ERASURE and store.get(entry["id"]) != entry:
        return _NOT_ERASED
    if far_ahead(entry["clock"][0], at):
        return _WRONG_CLOCK
    return check(entry) if check else None


def _take_blob(blobs: FolderBlobs | None, blob: Any, number: int, taken: Taken) -> None:
    try:
        if blobs:
            blobs.put(str(blob["sha256"]), base64.b64decode(blob["base64"], validate=True))
        taken.blobs += 1
    except (KeyError, TypeError, binascii.Error):
        taken.refused.append((number, Refusal("blobs", "is no attachment")))
    except SyncError as error:
        taken.refused.append((number, Refusal("blobs", error.why)))


def _sender(content: dict[str, Any]) -> str:
    device = content.get("device")
    name = device.get("device") if isinstance(device, dict) else None
    return f"file of {name}"[:100] if isinstance(name, str) else "file"
