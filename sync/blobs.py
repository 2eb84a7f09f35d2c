"""Attachments: bytes under the SHA-256 of themselves, so that a name can never stand for other bytes."""

import hashlib
import logging
import re
from collections.abc import Callable, Collection, Iterable
from pathlib import Path

from sync.atomic import replace_file
from sync.errors import BlobError, BodyTooLarge, NotFound

__all__ = ["BLOB_MAX", "FolderBlobs"]

BLOB_MAX = 2 * 1024 * 1024

_log = logging.getLogger(__name__)
_NAME = re.compile(r"[0-9a-f]{64}")


class FolderBlobs:
    """Blobs of at most 2 MB as files of a folder. `erased` names those that must not be here (any more)."""

    def __init__(self, folder: Path | str, erased: Callable[[], Collection[str]] = tuple) -> None:
        self._folder = Path(folder)
        self._folder.mkdir(parents=True, exist_ok=True)
        self._erased = erased

    def put(self, name: str, data: bytes) -> None:
        """Keep `data`; it is on disk when this returns. Erased bytes that come again are dropped.

        Raises BlobError when `name` is not its SHA-256.
        """
        if len(data) > BLOB_MAX:
            raise BodyTooLarge(f"A file may have at most {BLOB_MAX} bytes.", field="body")
        if hashlib.sha256(data).hexdigest() != _checked(name):
            raise BlobError("The bytes do not have this digest; some were lost on the way.", field="sha256")
        if not self._holds(name):
            replace_file(self._folder / name, data)
        # After the write: an erasure that came meanwhile has looked for these bytes already.
        if name in self._erased():
            self.drop([name])

    def get(self, name: str) -> bytes:
        """The bytes. Raises NotFound; BlobError when the file is no longer what was put there."""
        try:
            data = (self._folder / _checked(name)).read_bytes()
        except FileNotFoundError:
            raise NotFound("There is no file with this digest here.", field="sha256") from None
        if hashlib.sha256(data).hexdigest() != name:
            raise BlobError("The file was damaged on this disk.", field="sha256")
        return data

    def shred(self) -> None:
        """Let go of what is erased: when an erasure came, and at a start, should the last end have come in between."""
        try:
            self.drop(self._erased())
        except OSError as error:
            _log.error("erased attachments could not be deleted (%s): the next start tries again", error.strerror)

    def since(self, name: str) -> int | None:
        """When these bytes came here, in ms since 1970; None where they are not."""
        try:
            return (self._folder / _checked(name)).stat().st_mtime_ns // 1_000_000
        except FileNotFoundError:
            return None

    def drop(self, names: Iterable[str]) -> None:
        """Let go of these bytes, where they are here."""
        for name in names:
            (self._folder / _checked(name)).unlink(missing_ok=True)

    def _holds(self, name: str) -> bool:
        path = self._folder / name
        return path.exists() and hashlib.sha256(path.read_bytes()).hexdigest() == name


def _checked(name: str) -> str:
    if not _NAME.fullmatch(name):
        raise BlobError("This is not a SHA-256.", field="sha256")
    return name
