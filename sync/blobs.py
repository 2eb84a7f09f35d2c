"""Attachments: bytes under the SHA-256 of themselves, so that a name can never stand for other bytes."""

import hashlib
import re
from pathlib import Path

from sync.atomic import replace_file
from sync.errors import BlobError, BodyTooLarge, NotFound

__all__ = ["BLOB_MAX", "FolderBlobs"]

BLOB_MAX = 2 * 1024 * 1024

_NAME = re.compile(r"[0-9a-f]{64}")


class FolderBlobs:
    """Blobs of at most 2 MB as files of a folder."""

    def __init__(self, folder: Path | str) -> None:
        self._folder = Path(folder)
        self._folder.mkdir(parents=True, exist_ok=True)

    def put(self, name: str, data: bytes) -> None:
        """Keep `data`; it is on disk when this returns. Raises BlobError when `name` is not its SHA-256."""
        if len(data) > BLOB_MAX:
            raise BodyTooLarge(f"A file may have at most {BLOB_MAX} bytes.", field="body")
        if hashlib.sha256(data).hexdigest() != _checked(name):
            raise BlobError("The bytes do not have this digest; some were lost on the way.", field="sha256")
        if not self._holds(name):
            replace_file(self._folder / name, data)

    def get(self, name: str) -> bytes:
        """The bytes. Raises NotFound; BlobError when the file is no longer what was put there."""
        try:
            data = (self._folder / _checked(name)).read_bytes()
        except FileNotFoundError:
            raise NotFound("There is no file with this digest here.", field="sha256") from None
        if hashlib.sha256(data).hexdigest() != name:
            raise BlobError("The file was damaged on this disk.", field="sha256")
        return data

    def _holds(self, name: str) -> bool:
        path = self._folder / name
        return path.exists() and hashlib.sha256(path.read_bytes()).hexdigest() == name


def _checked(name: str) -> str:
    if not _NAME.fullmatch(name):
        raise BlobError("This is not a SHA-256.", field="sha256")
    return name
