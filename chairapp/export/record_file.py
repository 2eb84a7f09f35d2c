"""The full record as one JSON document, which `verify_record.py` re-checks with nothing of ours.

    {"format": "threemark-record", "version": 1, "made": time, "scope": "all" or what was asked for,
     "chain": {"epoch", "position", "hash", "cut": [position, hash]},   the head when the export began, and where the
                                                                        chain that is still here begins
    "clinic": the clinic document or null,
    "keys": [{"person", "device", "jwk"}],         public keys of those who sign
    "sequences": [{"digest", "document"}],
    "entries": [{"position", "hash", "received", "before", "bare", "entry"}],
    "purged": [{"position", "leaf"}],              what the chain holds of entries that were let go of
    "attachments": [{"sha256", "base64"}],
    "access": [{"at", "who", "role", "what", "visit"}],    of one record only
    "end": {"visits", "entries"}}

Every member of a list stands on a line of its own, an entry as its exact RFC 8785 bytes, so a reader may take it line
by line. Entries come visit by visit, each visit by position. `hash` is the chain's after this entry (hex), as
sync/seal.py makes it; `received` in ms since 1970; `bare` is there where the value was erased; `before`, the chain's
hash before the entry, is there when not everything is exported and the row before is not the entry before.
"""

import base64
import json
from collections.abc import Iterable, Iterator
from typing import Any, BinaryIO

from chairapp.export.source import Progress, Source, Visit, ignore
from sync.entry import canonical
from sync.errors import BlobError, NotFound
from sync.store import Head, Link

__all__ = ["FORMAT", "write_record"]

Doc = dict[str, Any]
FORMAT = {"format": "threemark-record", "version": 1}


def write_record(
    source: Source, file: BinaryIO, sequences: Iterable[tuple[str, Doc]], made: str, progress: Progress = ignore
) -> int:
    """Gives how many visits are in it. `sequences` are those kept, by digest. Raises what `Source.each` raises."""
    return _Writer(source, file, made).write(sequences, progress)


class _Writer:
    def __init__(self, source: Source, file: BinaryIO, made: str) -> None:
        self._source = source
        self._file = file
        self._made = made
        self._head = source.store.head()
        self._last = -1
        self._entries = 0
        self._visits: dict[str, None] = {}
        self._named: dict[str, None] = {}

    def write(self, sequences: Iterable[tuple[str, Doc]], progress: Progress) -> int:
        source, head, cut = self._source, self._head, self._source.store.cut()
        chain = {"epoch": head.epoch, "position": head.position, "hash": head.hash, "cut": [cut.position, cut.hash]}
        scope = "all" if source.whole else _scope(source)
        self._file.write(_json(FORMAT | {"made": self._made, "scope": scope, "chain": chain})[:-1])
        clinic = source.clinic.model_dump(mode="json") if source.clinic else None
        self._file.write(b',\n"clinic":' + _json(clinic))
        self._list("keys", map(_json, _keys(source)))
        self._list("sequences", (_json({"digest": name, "document": known}) for name, known in sequences))
        self._list("entries", self._all_entries(progress))
        self._list("purged", self._purged(cut))
        self._list("attachments", self._attachments())
        self._list("access", map(_json, self._access()))
        visits = len(self._visits)
        self._file.write(b',\n"end":' + _json({"visits": visits, "entries": self._entries}) + b"}\n")
        return visits

    def _list(self, name: str, rows: Iterable[bytes]) -> None:
        self._file.write(b',\n"%b":[' % name.encode())
        between = b"\n"
        for row in rows:
            self._file.write(between + row)
            between = b",\n"
        self._file.write(b"\n]")

    def _all_entries(self, progress: Progress) -> Iterator[bytes]:
        if self._source.whole:
            yield from self._rows(self._source.own())
        for visit in self._source.each(progress):
            self._visits[visit.id] = None
            yield from self._rows(visit)

    def _rows(self, visit: Visit) -> Iterator[bytes]:
        """Entries that came after the export began belong to the next one: the head would not cover them."""
        for link in visit.links:
            if link.position <= self._head.position:
                self._entries += 1
                yield self._row(link)
        for entry in visit.entries:
            if entry["kind"] == "attachment" and isinstance(entry["value"], dict) and "sha256" in entry["value"]:
                self._named[str(entry["value"]["sha256"])] = None

    def _row(self, link: Link) -> bytes:
        said = {"position": link.position, "hash": link.hash, "received": link.received}
        if link.bare:
            said["bare"] = True
        if not self._source.whole and self._last != link.position - 1:
            said["before"] = self._source.store.hash_at(link.position - 1)
        self._last = link.position
        return _json(said)[:-1] + b',"entry":' + link.data + b"}"

    def _purged(self, cut: Head) -> Iterator[bytes]:
        # Looked for only where entries lack: the whole chain is walked once more for it.
        if self._source.whole and self._entries < self._head.position - cut.position:
            for link in self._source.store.links():
                if link.leaf and link.position <= self._head.position:
                    yield _json({"position": link.position, "leaf": link.leaf.hex()})

    def _attachments(self) -> Iterator[bytes]:
        """Those that have arrived and are whole; a verifier says which lack."""
        for name in self._named if self._source.blobs else ():
            try:
                data = self._source.blobs.get(name) if self._source.blobs else b""
            except (NotFound, BlobError):
                continue
            yield _json({"sha256": name, "base64": base64.b64encode(data).decode()})

    def _access(self) -> Iterator[Any]:
        if self._source.one:
            for visit in self._visits:
                yield from self._source.access(visit)


def _scope(source: Source) -> str:
    return source.visit or source.code or str(source.period)


def _keys(source: Source) -> Iterator[Doc]:
    """Everybody's public keys, as the clinic's own visit names them."""
    for entry in source.own().entries:
        value = entry["value"]
        if entry["kind"] == "key" and isinstance(value, dict):
            yield {name: value.get(name) for name in ("person", "device", "jwk")}


def _json(thing: Any) -> bytes:
    return (
        canonical(thing)
        if not isinstance(thing, dict)
        else json.dumps(thing, ensure_ascii=False, separators=(",", ":")).encode()
    )
