"""Attachments: bytes under the SHA-256 of themselves."""

from pathlib import Path


class FolderBlobs:
    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def put(self, name: str, data: bytes) -> None:
        raise NotImplementedError

    def get(self, name: str) -> bytes:
        raise NotImplementedError
