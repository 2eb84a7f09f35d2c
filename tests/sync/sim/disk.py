"""A small modelled disk: what was synced stays, of what was not the power takes what it likes.

Bytes are kept in pages, names in folders. A page written and not synced may be there after a power cut, or not, or
half, whatever became of the one before it. A name not synced may be there or not. Pages that an fsync failed to write
are clean to the system and never written (as Linux has it). Whoever is cut off gets `Gone` from every further call.
"""

import errno
import io
import random
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from sync.disk import Disk
from sync.errors import StoreInUse

__all__ = ["Gone", "ModelDisk", "eio", "enospc"]

PAGE = 64

Fault = Callable[[str], OSError | None]


class Gone(BaseException):
    """The process is no more: it was killed, or the power went."""


def enospc() -> OSError:
    return OSError(errno.ENOSPC, "No space left on device")


def eio() -> OSError:
    return OSError(errno.EIO, "Input/output error")


class ModelDisk(Disk):
    """Files, their names and locks in memory.

    `steps` counts the calls that change or sync something. The process dies at step `die_at`; `fault(step name)` may
    give an error to raise. `draw` decides what is torn, how short a write is, what a power cut takes.
    """

    def __init__(self, draw: random.Random) -> None:
        self.draw = draw
        self.steps = 0
        self.die_at: int | None = None
        self.fault: Fault = lambda step: None
        self.lazy = 0.02
        self._dead = False
        self._names: dict[Path, _File] = {}
        self._kept_names: dict[Path, _File] = {}
        self._folders = {Path("/")}
        self._kept_folders = {Path("/")}
        self._open: dict[int, _File] = {}
        self._locks: set[Path] = set()

    # What a store asks.

    def make_folder(self, folder: Path) -> None:
        self._step("make_folder")
        self._folders.add(folder)

    def exists(self, path: Path) -> bool:
        self._alive()
        return path in self._names or path in self._folders

    def open(self, path: Path, *, empty: bool = False) -> int:
        self._step("open")
        file = self._names.setdefault(path, _File())
        if empty:
            file.cut(0)
        self._open[handle := max(self._open, default=0) + 1] = file
        return handle

    def read(self, path: Path) -> BinaryIO:
        self._alive()
        if path not in self._names:
            raise FileNotFoundError(errno.ENOENT, "No such file", str(path))
        return io.BytesIO(self._names[path].bytes)

    def write(self, file: int, data: bytes) -> int:
        cut = self.draw.randint(0, len(data))
        try:
            self._step("write")
        except (OSError, Gone):
            self._open[file].append(data[:cut])
            raise
        taken = data[:cut] if cut and self.draw.random() < self.lazy else data
        self._open[file].append(taken)
        return len(taken)

    def write_over(self, file: int, data: bytes, offset: int) -> int:
        self._step("write")
        self._open[file].put(data, offset)
        return len(data)

    def sync(self, file: int) -> None:
        try:
            self._step("sync")
        except OSError:
            self._open[file].fail(self.draw)
            raise
        self._open[file].sync()

    def cut(self, file: int, size: int) -> None:
        self._step("cut")
        self._open[file].cut(size)

    def close(self, file: int) -> None:
        self._open.pop(file, None)

    def rename(self, path: Path, name: Path) -> None:
        self._step("rename")
        self._names[name] = self._names.pop(path)

    def sync_folder(self, folder: Path) -> None:
        self._step("sync_folder")
        for path in {*self._names, *self._kept_names}:
            if path.parent == folder:
                _follow(path, self._names, self._kept_names)
        self._kept_folders |= {made for made in self._folders if made.parent == folder}

    def lock(self, path: Path) -> "_Lock":
        self._alive()
        if path in self._locks:
            raise StoreInUse(f"{path.parent} is open for writing in another program.")
        self._locks.add(path)
        return _Lock(self._locks, path)

    # What becomes of it.

    def restart(self, *, power: bool) -> None:
        """Come up again: after a mere kill with all that was written, after a power cut with what was spared."""
        self._open.clear()
        self._locks.clear()
        self._dead, self.die_at = False, None
        if power:
            self._lose_names()
            for file in {id(file): file for file in self._names.values()}.values():
                file.lose(self.draw)

    def image(self, folder: Path) -> dict[Path, bytes]:
        """The files of a folder as they are."""
        return {path: bytes(file.bytes) for path, file in self._names.items() if path.parent == folder}

    def put_back(self, folder: Path, image: dict[Path, bytes]) -> None:
        """Make a folder what it was."""
        for names in (self._names, self._kept_names):
            for path in [path for path in names if path.parent == folder]:
                del names[path]
        for path, data in image.items():
            self._names[path] = self._kept_names[path] = _File(data)

    def _alive(self) -> None:
        if self._dead:
            raise Gone

    def _step(self, name: str) -> None:
        self._alive()
        self.steps += 1
        if self.die_at is not None and self.steps >= self.die_at:
            self._dead = True
            raise Gone
        error = self.fault(name)
        if error:
            raise error
        if self._names and self.draw.random() < self.lazy:
            self.draw.choice(list(self._names.values())).write_back(self.draw)

    def _lose_names(self) -> None:
        for path in sorted({*self._names, *self._kept_names}):
            if self._names.get(path) is not self._kept_names.get(path) and self.draw.random() < 0.5:
                _follow(path, self._kept_names, self._names)
        for folder in sorted(self._folders - self._kept_folders):
            if folder.parent not in self._folders or self.draw.random() < 0.5:
                self._folders.discard(folder)
        self._names = {path: file for path, file in self._names.items() if path.parent in self._folders}
        self._kept_names, self._kept_folders = dict(self._names), set(self._folders)


class _Lock:
    def __init__(self, held: set[Path], path: Path) -> None:
        self._held = held
        self._path = path

    def release(self) -> None:
        self._held.discard(self._path)


class _File:
    """`bytes` are what the system shows, `kept` what is on the disk; `dirty` pages are still to be written."""

    def __init__(self, data: bytes = b"") -> None:
        self.bytes = bytearray(data)
        self.kept = bytearray(data)
        self.dirty: set[int] = set()

    def append(self, data: bytes) -> None:
        self.put(data, len(self.bytes))

    def put(self, data: bytes, start: int) -> None:
        self.bytes[start : start + len(data)] = data
        self._touch(start, start + len(data))

    def cut(self, size: int) -> None:
        del self.bytes[size:]
        self._touch(size, size + 1)

    def sync(self) -> None:
        for page in self.dirty:
            self._write(page)
        del self.kept[len(self.bytes) :]
        self.dirty.clear()

    def write_back(self, draw: random.Random) -> None:
        """The system writes a page when it likes."""
        if self.dirty:
            page = draw.choice(sorted(self.dirty))
            self.dirty.discard(page)
            self._write(page)

    def fail(self, draw: random.Random) -> None:
        """Some pages were written; none of them is tried again."""
        for page in sorted(self.dirty):
            if draw.random() < 0.5:
                self._write(page)
        self.dirty.clear()

    def lose(self, draw: random.Random) -> None:
        shortest, longest = sorted((len(self.kept), len(self.bytes)))
        spared, torn = draw.choice((0.0, 0.5, 0.9, 1.0)), draw.choice((0.0, 0.2))
        for page in sorted(self.dirty):
            if draw.random() < spared:
                self._write(page, draw.randint(0, PAGE) if draw.random() < torn else PAGE)
        size = draw.choice((shortest, longest, draw.randint(shortest, longest)))
        # A file that grew before its pages were written holds zeros there.
        self.kept = (self.kept + bytes(size))[:size] if self.dirty or len(self.kept) != size else self.kept
        self.bytes = bytearray(self.kept)
        self.dirty.clear()

    def _touch(self, start: int, stop: int) -> None:
        self.dirty |= set(range(start // PAGE, (stop - 1) // PAGE + 1))

    def _write(self, page: int, size: int = PAGE) -> None:
        start = page * PAGE
        data = self.bytes[start : start + size]
        if len(self.kept) < start:
            self.kept += bytes(start - len(self.kept))
        self.kept[start : start + len(data)] = data


def _follow(path: Path, names: dict[Path, _File], followers: dict[Path, _File]) -> None:
    if path in names:
        followers[path] = names[path]
    else:
        followers.pop(path, None)
