"""A file of lines that only grows: each line a CRC and JSON, each change one line and one fsync.

    9ae0c3f1 {"...": ...}

What was not wholly written when the power went is cut off and kept in FILE.torn; a line damaged later stays where it is
and is reported. After a failed fsync nothing is written until the file is opened again: what the disk then holds is
not known, and asking it a second time would not tell (a failed fsync is not retried).
"""

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple
from zlib import crc32

from sync.atomic import sync_folder
from sync.errors import StoreBroken, StoreFull, StoreReadOnly

__all__ = ["Damage", "Disk", "Journal"]

_CRC_DIGITS = 8


class Disk:
    """What a journal asks of the operating system; tests put one that fails in its place."""

    def write(self, file: int, data: bytes) -> int:
        return os.write(file, data)

    def sync(self, file: int) -> None:
        os.fsync(file)

    def cut(self, file: int, size: int) -> None:
        os.ftruncate(file, size)


class Damage(NamedTuple):
    """A line whose CRC does not match: its number (from 1), where it starts, and how many bytes it has."""

    line: int
    offset: int
    size: int


class Journal:
    """One such file. `load` comes first; `append` may be called from one thread at a time.

    `damaged` are the lines that could not be read, `torn` how many bytes of an unfinished line were cut off.
    """

    def __init__(self, path: Path, *, write: bool = True, disk: Disk | None = None) -> None:
        self.path = path
        self.damaged: list[Damage] = []
        self.torn = 0
        self._write = write
        self._disk = disk or Disk()
        self._fault = ""
        self._size = 0
        self._file = -1

    def load(self, take: Callable[[Any], None]) -> None:
        """Give every whole line's JSON to `take`, then stand ready to append. Reading only changes nothing."""
        if self._write:
            self._open()
        if self.path.exists():
            self._read(take)
        if self._write:
            self._cut_tail()

    def append(self, payload: bytes) -> None:
        """Add one line; it is on disk when this returns.

        Raises StoreFull when it could not be written (nothing of it is left, trying again is allowed) and StoreBroken
        when the disk failed (writing is refused until the journal is opened again).
        """
        if not self._write:
            raise StoreReadOnly(f"{self.path.name} was opened for reading.")
        if self._fault:
            raise StoreBroken(self._fault)
        line = b"%08x %b\n" % (crc32(payload), payload)
        self._put(line)
        try:
            self._disk.sync(self._file)
        except OSError as error:
            self._fail("the disk did not confirm a write", error)
        self._size += len(line)

    def close(self) -> None:
        if self._file >= 0:
            os.close(self._file)
            self._file = -1

    def _open(self) -> None:
        fresh = not self.path.exists()
        flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0)
        self._file = os.open(self.path, flags, 0o600)
        if fresh:
            sync_folder(self.path.parent)

    def _read(self, take: Callable[[Any], None]) -> None:
        """Read to the last whole line. A bad line counts as damaged only if a good one follows; else it is the tail."""
        offset, doubtful = 0, list[Damage]()
        with self.path.open("rb") as lines:
            for number, line in enumerate(lines, 1):
                if _is_whole(line):
                    self.damaged += doubtful
                    doubtful.clear()
                    self._size = offset + len(line)
                    take(json.loads(line[_CRC_DIGITS + 1 :]))
                else:
                    doubtful.append(Damage(number, offset, len(line)))
                offset += len(line)
        self.torn = offset - self._size

    def _cut_tail(self) -> None:
        if not self.torn:
            return
        with self.path.open("rb") as source:
            source.seek(self._size)
            tail = source.read()
        with self.path.with_name(self.path.name + ".torn").open("ab") as kept:
            kept.write(tail + b"\n")
            kept.flush()
            os.fsync(kept.fileno())
        sync_folder(self.path.parent)
        self._disk.cut(self._file, self._size)
        self._disk.sync(self._file)

    def _put(self, line: bytes) -> None:
        try:
            written = 0
            while written < len(line):
                written += self._disk.write(self._file, line[written:])
        except OSError as error:
            self._take_back(error)
            raise StoreFull(f"{self.path.name} could not be written: {error.strerror}.") from error

    def _take_back(self, error: OSError) -> None:
        # Half a line in the middle of the file would damage the next one.
        try:
            self._disk.cut(self._file, self._size)
        except OSError:
            self._fail("the disk did not take a write back", error)

    def _fail(self, what: str, error: OSError) -> None:
        self._fault = f"{self.path.name}: {what} ({error.strerror})."
        raise StoreBroken(self._fault) from error


def _is_whole(line: bytes) -> bool:
    """Whether a line is complete and its CRC is that of its bytes."""
    crc, payload = line[:_CRC_DIGITS], line[_CRC_DIGITS + 1 : -1]
    return line.endswith(b"\n") and line[_CRC_DIGITS : _CRC_DIGITS + 1] == b" " and crc == b"%08x" % crc32(payload)
