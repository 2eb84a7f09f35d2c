"""A file of lines that only grows: each line a CRC and JSON, each change one line and one fsync.

    9ae0c3f1 {"...": ...}

What was not wholly written when the power went is cut off and kept in FILE.torn; a line damaged later stays where it is
and is reported. After a failed fsync nothing is written until the file is opened again: what the disk then holds is
not known, and asking it a second time would not tell (a failed fsync is not retried).
"""

import json
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple, NoReturn
from zlib import crc32

from sync.atomic import write_all
from sync.disk import DISK, Disk
from sync.errors import StoreBroken, StoreFull, StoreReadOnly

__all__ = ["BadLine", "Damage", "Journal"]

_CRC_DIGITS = 8


class BadLine(ValueError):
    """A line with a good CRC that says nothing: somebody's hand was in the file. Raised before anything is taken."""


class Damage(NamedTuple):
    """A line whose CRC does not match, or that says nothing.

    Its number (from 1), where it starts, and how many bytes it has.
    """

    line: int
    offset: int
    size: int


class Journal:
    """One such file. `load` comes first; `append` may be called from one thread at a time.

    `damaged` are the lines that could not be read, `torn` how many bytes of an unfinished line were cut off.
    """

    def __init__(self, path: Path, *, write: bool = True, disk: Disk = DISK) -> None:
        self.path = path
        self.damaged: list[Damage] = []
        self.torn = 0
        self._write = write
        self._disk = disk
        self._fault = ""
        self._size = 0
        self._last = b""
        self._file = -1

    def load(self, take: Callable[[Any], None]) -> None:
        """Give every whole line's JSON to `take`, then stand ready to append. Reading only changes nothing.

        A line for which `take` raises BadLine counts as damaged. Raises StoreBroken when the disk fails; what is on it
        stays as it is.
        """
        try:
            self._load(take)
        except BaseException as error:
            self.close()
            if isinstance(error, OSError):
                raise StoreBroken(f"{self.path.name} could not be opened: {error.strerror}.") from error
            raise

    def append(self, payload: bytes) -> None:
        """Add one line; it is on disk when this returns.

        Raises StoreFull when it could not be written (nothing of it is left, trying again is allowed) and StoreBroken
        when the disk failed (writing is refused until the journal is opened again).
        """
        if not self._write:
            raise StoreReadOnly(f"{self.path.name} was opened for reading.")
        if self._fault:
            raise StoreBroken(self._fault)
        line = _as_line(payload)
        self._put(line)
        try:
            self._disk.sync(self._file)
        except OSError as error:
            # Read again it might come from memory and be taken for kept, though it never reached the disk.
            with suppress(OSError):
                self._disk.cut(self._file, self._size)
            self._fail("the disk did not confirm a write", error)
        self._size += len(line)

    def rewrite(self, change: Callable[[Any], Iterable[bytes]]) -> None:
        """Put another file in the place of this one, whole: after a crash there is the old one or the new one.

        `change` gives the payloads that take the place of a line's JSON. Damaged lines are taken over as they are.
        Raises StoreFull with the old file still there, StoreBroken when it is not known which one is.
        """
        if self._fault:
            raise StoreBroken(self._fault)
        fresh = self.path.with_name(self.path.name + ".new")
        try:
            size, damaged = self._write_fresh(fresh, change)
        except OSError as error:
            raise StoreFull(f"{self.path.name} could not be written anew: {error.strerror}.") from error
        try:
            self._disk.rename(fresh, self.path)
            self._disk.sync_folder(self.path.parent)
            file = self._disk.open(self.path)
        except OSError as error:
            # Appending to a file whose name may be gone after a power cut would lose what was acknowledged.
            self._fail("the disk did not confirm a new file", error)
        self._disk.close(self._file)
        self._file, self._size, self.damaged = file, size, damaged

    def close(self) -> None:
        if self._file >= 0:
            self._disk.close(self._file)
            self._file = -1

    def _load(self, take: Callable[[Any], None]) -> None:
        if self._write:
            self._open()
        if self._disk.exists(self.path):
            self._read(take)
        if self._write:
            self._make_sure()

    def _open(self) -> None:
        self._file = self._disk.open(self.path)
        # Also a file that was there: whoever made it may have been killed before its name was on disk.
        self._disk.sync_folder(self.path.parent)

    def _make_sure(self) -> None:
        """Cut the tail off and wait for the rest to be on disk.

        A writer killed between a write and its fsync leaves a line that is read here like any other; what is in it
        would be acknowledged when it is offered again. An fsync alone is not enough: when one failed before, in this
        process or another, the system takes the pages for written. So the last line, the only one that can be meant,
        is written again over itself; cut short, that leaves the same bytes.
        """
        if self.torn:
            self._keep_tail()
            self._disk.cut(self._file, self._size)
        offset = self._size - len(self._last)
        while offset < self._size:
            offset += self._disk.write_over(self._file, self._last[offset - self._size :], offset)
        self._disk.sync(self._file)
        self._last = b""

    def _read(self, take: Callable[[Any], None]) -> None:
        """Read to the last whole line. A bad line counts as damaged only if a good one follows; else it is the tail."""
        offset, doubtful = 0, list[Damage]()
        with self._disk.read(self.path) as lines:
            for number, line in enumerate(lines, 1):
                if _is_whole(line):
                    self.damaged += doubtful
                    doubtful.clear()
                    self._size, self._last = offset + len(line), line
                    if not _taken(line, take):
                        self.damaged.append(Damage(number, offset, len(line)))
                else:
                    doubtful.append(Damage(number, offset, len(line)))
                offset += len(line)
        self.torn = offset - self._size

    def _keep_tail(self) -> None:
        with self._disk.read(self.path) as source:
            source.seek(self._size)
            tail = source.read()
        kept = self._disk.open(self.path.with_name(self.path.name + ".torn"))
        try:
            write_all(self._disk, kept, tail + b"\n")
            self._disk.sync(kept)
        finally:
            self._disk.close(kept)
        self._disk.sync_folder(self.path.parent)

    def _write_fresh(self, fresh: Path, change: Callable[[Any], Iterable[bytes]]) -> tuple[int, list[Damage]]:
        """Returns the size of the new file and where its damaged lines are."""
        size, number, damaged = 0, 0, list[Damage]()
        file = self._disk.open(fresh, empty=True)
        try:
            with self._disk.read(self.path) as lines:
                for line in lines:
                    remade = _remade(line, change)
                    for made in [line] if remade is None else remade:
                        write_all(self._disk, file, made)
                        number += 1
                        if remade is None:
                            damaged.append(Damage(number, size, len(made)))
                        size += len(made)
            self._disk.sync(file)
        finally:
            self._disk.close(file)
        return size, damaged

    def _put(self, line: bytes) -> None:
        try:
            write_all(self._disk, self._file, line)
        except OSError as error:
            self._take_back(error)
            raise StoreFull(f"{self.path.name} could not be written: {error.strerror}.") from error

    def _take_back(self, error: OSError) -> None:
        # Half a line in the middle of the file would damage the next one.
        try:
            self._disk.cut(self._file, self._size)
        except OSError:
            self._fail("the disk did not take a write back", error)

    def _fail(self, what: str, error: OSError) -> NoReturn:
        self._fault = f"{self.path.name}: {what} ({error.strerror})."
        raise StoreBroken(self._fault) from error


def _as_line(payload: bytes) -> bytes:
    return b"%08x %b\n" % (crc32(payload), payload)


def _json_of(line: bytes) -> Any:
    """Raises BadLine."""
    try:
        return json.loads(line[_CRC_DIGITS + 1 :])
    except ValueError as error:
        raise BadLine("no JSON") from error


def _remade(line: bytes, change: Callable[[Any], Iterable[bytes]]) -> list[bytes] | None:
    """The lines in place of this one; None for one that is damaged."""
    try:
        return [_as_line(payload) for payload in change(_json_of(line))] if _is_whole(line) else None
    except BadLine:
        return None


def _taken(line: bytes, take: Callable[[Any], None]) -> bool:
    try:
        take(_json_of(line))
    except BadLine:
        return False
    return True


def _is_whole(line: bytes) -> bool:
    """Whether a line is complete and its CRC is that of its bytes."""
    crc, payload = line[:_CRC_DIGITS], line[_CRC_DIGITS + 1 : -1]
    return line.endswith(b"\n") and line[_CRC_DIGITS : _CRC_DIGITS + 1] == b" " and crc == b"%08x" % crc32(payload)
