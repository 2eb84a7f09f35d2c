"""Small files replaced as a whole: after a crash there is the old one or the new one, never half of one."""

import os
from pathlib import Path

__all__ = ["replace_file", "sync_folder"]


def replace_file(path: Path, data: bytes) -> None:
    """Put `data` at `path`, readable by its owner only. Raises OSError; the old file is then still there."""
    fresh = path.with_name(f".{path.name}.{os.getpid()}.new")
    file = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0), 0o600)
    with os.fdopen(file, "wb") as handle:
        handle.write(data)
        handle.flush()
        os.fsync(handle.fileno())
    os.replace(fresh, path)
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable, where the system can (Windows cannot open a folder)."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
