"""What a data folder asks of the operating system. Tests put a disk that fails, or one that is only modelled, here.

Every call may raise OSError. Nothing is durable before it was synced: bytes by `sync` of their file, names by
`sync_folder` of their folder.
"""

import os
from pathlib import Path
from typing import BinaryIO, Protocol

from sync.lock import FolderLock

__all__ = ["DISK", "Disk", "Lock"]

_BINARY = getattr(os, "O_BINARY", 0)


class Lock(Protocol):
    def release(self) -> None: ...


class Disk:
    """The disk of this machine."""

    def make_folder(self, folder: Path) -> None:
        """Make one folder. Nothing happens when it is there."""
        folder.mkdir(exist_ok=True)

    def exists(self, path: Path) -> bool:
        return path.exists()

    def open(self, path: Path, *, empty: bool = False) -> int:
        """A file to write to, for its owner only, made when it is not there; `empty` begins it anew."""
        start = os.O_TRUNC if empty else 0
        return os.open(path, os.O_RDWR | os.O_CREAT | start | _BINARY, 0o600)

    def read(self, path: Path) -> BinaryIO:
        return path.open("rb")

    def write(self, file: int, data: bytes) -> int:
        """Write at the end. Returns how many bytes were taken; fewer than given is no error."""
        os.lseek(file, 0, os.SEEK_END)
        return os.write(file, data)

    def write_over(self, file: int, data: bytes, offset: int) -> int:
        """Write over what stands at `offset`, else as `write`."""
        os.lseek(file, offset, os.SEEK_SET)
        return os.write(file, data)

    def sync(self, file: int) -> None:
        os.fsync(file)

    def cut(self, file: int, size: int) -> None:
        os.ftruncate(file, size)

    def close(self, file: int) -> None:
        os.close(file)

    def rename(self, path: Path, name: Path) -> None:
        """Put a file in the place of another: whoever looks sees the one or the other."""
        os.replace(path, name)

    def sync_folder(self, folder: Path) -> None:
        """Make the names in a folder durable, where the system can (Windows cannot open a folder)."""
        if os.name == "nt":
            return
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

    def lock(self, path: Path) -> Lock:
        """Raises StoreInUse when another writer holds it."""
        return FolderLock(path)


DISK = Disk()
