"""The files of one release, each under an address made of its own bytes: an address never means two things."""

import gzip
import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from mimetypes import guess_type

__all__ = ["FOLDER", "File", "Files"]

FOLDER = "/chair/files/"
_PACKED = ("text/", "application/json", "application/manifest+json", "image/svg+xml")


@dataclass(frozen=True)
class File:
    name: str
    body: bytes
    media: str
    headers: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def sha256(self) -> str:
        return hashlib.sha256(self.body).hexdigest()

    @property
    def url(self) -> str:
        return f"{FOLDER}{self.sha256[:16]}/{self.name}"

    @cached_property
    def packed(self) -> bytes | None:
        """The body under gzip, or None where that gains nothing."""
        if not self.media.startswith(_PACKED):
            return None
        return gzip.compress(self.body, compresslevel=6, mtime=0)


class Files:
    """Every file of a release by its address."""

    def __init__(self) -> None:
        self._files: dict[str, File] = {}

    def __iter__(self) -> Iterator[File]:
        return iter(self._files.values())

    def add(
        self, name: str, body: bytes | str, media: str | None = None, headers: Mapping[str, str] | None = None
    ) -> str:
        """Take a file in and return its address. `media` is guessed from the name when it is not given."""
        data = body.encode() if isinstance(body, str) else body
        file = File(name, data, media or _media(name), headers or {})
        return self._files.setdefault(file.url, file).url

    def get(self, url: str) -> File | None:
        return self._files.get(url)


def _media(name: str) -> str:
    if name.endswith((".js", ".mjs")):
        return "text/javascript"
    if name.endswith(".webmanifest"):
        return "application/manifest+json"
    return guess_type(name)[0] or "application/octet-stream"
