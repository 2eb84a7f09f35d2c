"""One writer at a time: a lock the operating system lets go of when its process ends, however it ends."""

import os
import sys
from pathlib import Path

from sync.errors import StoreInUse

__all__ = ["FolderLock"]


class FolderLock:
    """Held from construction to `release`. Raises StoreInUse when another process, or another store here, holds it."""

    def __init__(self, path: Path) -> None:
        self._file = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
        try:
            _take(self._file)
        except OSError as error:
            os.close(self._file)
            raise StoreInUse(f"{path.parent} is open for writing in another program.") from error

    def release(self) -> None:
        os.close(self._file)


if sys.platform == "win32":
    import msvcrt

    def _take(file: int) -> None:
        msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _take(file: int) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
