"""A backup: one file with everything of a store, taken while it runs, that says itself whether it is whole.

A zip archive. `entries.jsonl` has a line per link of the chain, `drawer.jsonl` one per refused entry, `kept.json` the
small values, `devices.json` the devices with the digests of their tokens; under `files/` stands what the application
keeps beside them. `manifest.json` names where the chain stood and the SHA-256 of each part. The archive's comment is
the SHA-256 of everything before it, so that no bit of the file can change unseen.
"""

import base64
import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from itertools import takewhile
from pathlib import Path
from typing import IO, Any, cast

from sync import seal
from sync.access import Device
from sync.atomic import write_all
from sync.clock import wall_ms
from sync.disk import DISK, Disk
from sync.entry import Refusal, canonical, time_text
from sync.errors import BackupError
from sync.store import Head, Link, Record, Store, Touched

__all__ = [
    "BACKED_UP",
    "BACKED_UP_VISITS",
    "Backup",
    "Known",
    "backed_up_at",
    "backed_up_to",
    "is_backed_up",
    "open_backup",
    "remember",
    "write_backup",
]

BACKED_UP = "backed up"
BACKED_UP_VISITS = "backed up visits"

FORMAT = 1
_ENTRIES, _DRAWER, _MANIFEST = "entries.jsonl", "drawer.jsonl", "manifest.json"
_KEPT, _DEVICES = "kept.json", "devices.json"
_FILES = "files/"
_SEAL = 64
_PIECE = 1 << 20

Known = list[tuple[Device, str]]
"""Devices and the digests of their tokens."""


def write_backup(
    store: Store,
    to: Path,
    *,
    devices: Known,
    files: Iterable[tuple[str, bytes]] = (),
    now: int | None = None,
    disk: Disk = DISK,
) -> "Backup":
    """Write a backup of a store, which may be in use, to the file `to`; read it again and walk its chain.

    `files` are names and contents. Whatever goes wrong, the file that was there before is still there. Raises
    BackupError.
    """
    fresh = to.with_name(f".{to.name}.new")
    made = time_text(wall_ms() if now is None else now)
    try:
        file = disk.open(fresh, empty=True)
        try:
            sealing = _Sealing(disk, file)
            with io.BufferedWriter(sealing, _PIECE) as out:
                _write_parts(store, cast(IO[bytes], out), devices, files, made)
            sealing.finish()
            disk.sync(file)
        finally:
            disk.close(file)
        _read_again(fresh, to)
        disk.rename(fresh, to)
        disk.sync_folder(to.parent)
    except OSError as error:
        fresh.unlink(missing_ok=True)
        raise BackupError(f"{to} could not be written: {error.strerror}.") from error
    except BackupError:
        fresh.unlink(missing_ok=True)
        raise
    return open_backup(to)


def remember(store: Store, backup: "Backup") -> None:
    """Note in the store how far its last verified backup goes; nodes and tablets let go only of what is in it."""
    store.keep(BACKED_UP, {**backup.head._asdict(), "at": backup.made})


def backed_up_to(store: Store) -> int:
    """The feed position up to which this store is in its last verified backup; 0 where there is none."""
    noted = store.kept(BACKED_UP) or {}
    head = store.head()
    return int(noted["position"]) if noted.get("epoch") == head.epoch else 0


def backed_up_at(store: Store) -> int | None:
    """When that backup was begun, in ms since 1970; None for a store that has none of its own."""
    noted = store.kept(BACKED_UP)
    return int(datetime.fromisoformat(noted["at"]).timestamp() * 1000) if noted else None


def is_backed_up(store: Store) -> Callable[[Touched], bool]:
    """Whether all entries of a visit are in a verified backup: this store's own, or that of the node it hands on to."""
    position = backed_up_to(store)
    visits = store.kept(BACKED_UP_VISITS) or {}
    return lambda touched: touched.position <= max(position, int(visits.get(touched.visit, 0)))


def open_backup(path: Path) -> "Backup":
    """Raises BackupError for a file that is no backup, is cut off, or was changed in any bit."""
    _check_seal(path)
    backup = Backup(path)
    backup.check()
    return backup


class Backup:
    """A backup that was looked at. `head` is where the chain stood, `made` when it was taken."""

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            self._manifest = json.loads(self._part(_MANIFEST))
            found = self._manifest["backup"]
            self.head = Head(*self._manifest["head"])
            self.cut = Head(*self._manifest["cut"])
            self.made = str(self._manifest["made"])
            self._sums = dict(self._manifest["parts"])
        except (ValueError, KeyError, TypeError) as error:
            raise BackupError(f"{path} is no backup: its manifest cannot be read.") from error
        if found != FORMAT:
            raise BackupError(f"{path} has format {found}; this program reads {FORMAT}.")

    def check(self) -> None:
        """Hash every part and walk the chain. Raises BackupError naming what is wrong."""
        for name, wanted in self._sums.items():
            if self._digest(name) != wanted:
                raise BackupError(f"{self.path} is not whole: {name} is not what was written.")
        flaw = seal.verify(self.head.epoch, self.links(), self.head.position, self.head.hash, self.cut)
        if flaw:
            raise BackupError(f"{self.path} does not hold: {flaw.why}.")

    def links(self) -> Iterator[Link]:
        """The chain, for `seal.verify` and `Store.fill`."""
        return map(_link, self._lines(_ENTRIES))

    def drawer(self) -> Iterator[Record]:
        for line in self._lines(_DRAWER):
            yield Record(**{**line, "refusal": Refusal(*line["refusal"])})

    def kept(self) -> dict[str, Any]:
        kept: dict[str, Any] = json.loads(self._part(_KEPT))
        return kept

    def devices(self) -> Known:
        rows = json.loads(self._part(_DEVICES))
        return [(Device(**{name: row[name] for name in Device._fields}), row["digest"]) for row in rows]

    def file_names(self) -> list[str]:
        """Names of the application's own files."""
        return [name.removeprefix(_FILES) for name in self._sums if name.startswith(_FILES)]

    def files(self) -> Iterator[tuple[str, bytes]]:
        """Those files, one after the other: all of them may be more than the memory holds."""
        return ((name, self._part(_FILES + name)) for name in self.file_names())

    def restore_into(self, store: Store) -> None:
        """Put everything but devices and files into a store that is empty; it keeps its own name.

        Raises StoreNotEmpty with nothing changed.
        """
        store.fill(self.links(), drawer=self.drawer(), kept=self.kept())

    def _lines(self, name: str) -> Iterator[Any]:
        with zipfile.ZipFile(self.path) as archive, archive.open(name) as lines:
            yield from map(json.loads, lines)

    def _part(self, name: str) -> bytes:
        with zipfile.ZipFile(self.path) as archive:
            return archive.read(name)

    def _digest(self, name: str) -> str:
        sha256 = hashlib.sha256()
        try:
            with zipfile.ZipFile(self.path) as archive, archive.open(name) as part:
                while piece := part.read(_PIECE):
                    sha256.update(piece)
        except (KeyError, zipfile.BadZipFile) as error:
            raise BackupError(f"{self.path} is not whole: {name} cannot be read.") from error
        return sha256.hexdigest()


class _Sealing(io.RawIOBase):
    """Passes on what an archive writes; in place of its last bytes, the comment, comes the digest of all before."""

    def __init__(self, disk: Disk, file: int) -> None:
        self._disk = disk
        self._file = file
        self._sha256 = hashlib.sha256()
        self._held = b""

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        given = bytes(data)
        self._held += given
        out, self._held = self._held[:-_SEAL], self._held[-_SEAL:]
        self._sha256.update(out)
        write_all(self._disk, self._file, out)
        return len(given)

    def finish(self) -> None:
        write_all(self._disk, self._file, self._sha256.hexdigest().encode())


class _Parts:
    """Writes the parts of an archive and notes the digest of each."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive
        self.sums: dict[str, str] = {}

    def put(self, name: str, pieces: Iterable[bytes]) -> None:
        sha256 = hashlib.sha256()
        # Room for more than 4 GB: how much it is to be is not known before.
        with self._archive.open(name, "w", force_zip64=True) as part:
            for piece in pieces:
                part.write(piece)
                sha256.update(piece)
        self.sums[name] = sha256.hexdigest()


def _write_parts(store: Store, out: IO[bytes], devices: Known, files: Iterable[tuple[str, bytes]], made: str) -> None:
    head, cut = store.head(), store.cut()
    links = takewhile(lambda link: link.position <= head.position, store.links())
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.comment = b"0" * _SEAL
        parts = _Parts(archive)
        parts.put(_ENTRIES, map(_link_line, links))
        parts.put(_DRAWER, (_json(record._asdict()) + b"\n" for record in store.refused()))
        parts.put(_KEPT, [_json(store.all_kept())])
        parts.put(_DEVICES, [_json([{**device._asdict(), "digest": digest} for device, digest in devices])])
        for name, data in files:
            parts.put(_FILES + name, [data])
        manifest = {"backup": FORMAT, "made": made, "head": list(head), "cut": list(cut), "parts": parts.sums}
        archive.writestr(_MANIFEST, json.dumps(manifest, indent=1))


def _read_again(fresh: Path, to: Path) -> None:
    try:
        open_backup(fresh)
    except BackupError as error:
        why = error.why.replace(str(fresh), "what was written")
        raise BackupError(f"{to} was not replaced: {why}") from error


def _check_seal(path: Path) -> None:
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            sha256, left = hashlib.sha256(), size - _SEAL
            while left > 0 and (piece := file.read(min(_PIECE, left))):
                sha256.update(piece)
                left -= len(piece)
            sealed = file.read()
    except OSError as error:
        raise BackupError(f"{path} cannot be read: {error.strerror}.") from error
    if size <= _SEAL or sealed != sha256.hexdigest().encode():
        raise BackupError(f"{path} is no backup, or it was cut off or changed after it was written.")
    if not zipfile.is_zipfile(path):
        raise BackupError(f"{path} is no backup.")


def _link_line(link: Link) -> bytes:
    if link.leaf:
        return b'{"p":%d,"g":"%b"}\n' % (link.position, base64.b64encode(link.leaf))
    more = b',"s":%b' % _json(link.source) if link.source else b""
    more += b',"x":true' if link.bare else b""
    fields = (link.position, link.hash.encode(), link.received, more, link.data)
    return b'{"p":%d,"h":"%b","r":%d%b,"e":%b}\n' % fields


def _link(line: Any) -> Link:
    if "g" in line:
        return Link(line["p"], b"", "", 0, leaf=base64.b64decode(line["g"]))
    source, bare = line.get("s", ""), line.get("x", False)
    return Link(line["p"], canonical(line["e"]), line["h"], line["r"], source, bare)


def _json(value: object) -> bytes:
    # In ASCII: what was refused may hold half a character, which no encoding takes.
    return json.dumps(value, separators=(",", ":")).encode()
