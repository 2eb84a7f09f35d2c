"""What takes several steps on a disk, in the order that outlives a crash between any two of them."""

import os
from pathlib import Path

from sync.disk import DISK, Disk

__all__ = ["make_folder", "replace_file", "write_all"]


def make_folder(folder: Path, disk: Disk = DISK) -> None:
    """Make a folder and those above it. Their names are on disk when this returns: with a folder goes all in it."""
    missing = [above for above in (folder, *folder.parents) if not disk.exists(above)]
    for above in reversed(missing):
        disk.make_folder(above)
    # Also for a folder that was there: whoever made it may have been killed before its name was on disk.
    for above in [*reversed(missing), folder]:
        disk.sync_folder(above.parent)


def replace_file(path: Path, data: bytes, disk: Disk = DISK) -> None:
    """Put `data` at `path`, readable by its owner only. Raises OSError; the old file is then still there.

    After a crash there is the old file or the new one, never half of one.
    """
    fresh = path.with_name(f".{path.name}.{os.getpid()}.new")
    file = disk.open(fresh, empty=True)
    try:
        write_all(disk, file, data)
        disk.sync(file)
    finally:
        disk.close(file)
    disk.rename(fresh, path)
    disk.sync_folder(path.parent)


def write_all(disk: Disk, file: int, data: bytes) -> None:
    """Write all of it, in as many writes as the system wants."""
    written = 0
    while written < len(data):
        written += disk.write(file, data[written:])
