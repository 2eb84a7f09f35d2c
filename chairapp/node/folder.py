"""The data folder of a node.

FORMAT          an integer; a folder newer than the program is refused
node.toml       role, node id, and the settings of the first start
entries.jsonl   the journal of a chair node      clinic.sqlite  the database of a clinic server
clinic.json     the clinic document              sequences/     sequence documents by digest
blobs/  refused.jsonl  backups/  log/            keys/          tokens and devices, for the owner's eyes (0700)
"""

import json
import os
import tomllib
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chairapp.node.errors import FolderError

__all__ = ["FORMAT", "Folder", "make_folder", "open_folder", "write_toml", "write_whole"]

FORMAT = 1
_INSIDE = ("blobs", "sequences", "backups", "log")


@dataclass(frozen=True)
class Folder:
    path: Path
    role: str
    node: str
    file: Mapping[str, Any]
    """The settings node.toml holds."""

    @property
    def journal(self) -> Path:
        return self.path / "entries.jsonl"

    @property
    def database(self) -> Path:
        return self.path / "clinic.sqlite"

    @property
    def clinic(self) -> Path:
        return self.path / "clinic.json"

    @property
    def sequences(self) -> Path:
        return self.path / "sequences"

    @property
    def blobs(self) -> Path:
        return self.path / "blobs"

    @property
    def keys(self) -> Path:
        return self.path / "keys"


def open_folder(path: Path) -> Folder:
    """A folder some node made. Raises FolderError when it is none, or from a newer program."""
    if not path.is_dir():
        raise FolderError(f"--data {path}: there is no such folder")
    if not (path / "FORMAT").is_file():
        raise FolderError(f"--data {path}: no node has its data here (no FORMAT file)")
    _check_format(path)
    try:
        file = tomllib.loads((path / "node.toml").read_text("utf-8"))
        return Folder(path, file["role"], file["node"], file)
    except FileNotFoundError:
        raise FolderError(f"--data {path}: node.toml is missing") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise FolderError(f"{path / 'node.toml'}: not readable as TOML: {error}") from None
    except KeyError as error:
        raise FolderError(f"{path / 'node.toml'}: {error.args[0]} is missing") from None


def make_folder(path: Path, role: str, settings: Mapping[str, Any]) -> Folder:
    """The folder of a `role` node, made on its first start; the settings given then are remembered in node.toml.

    Raises FolderError for a folder of the other role, of a newer program, or with foreign files in it.
    """
    if (path / "FORMAT").is_file():
        folder = open_folder(path)
        if folder.role != role:
            raise FolderError(f"--data {path}: holds the data of a {folder.role} node, not of a {role} node")
        return folder
    try:
        if path.is_dir() and _foreign(path):
            raise FolderError(f"--data {path}: not empty and not a node's; name a new folder")
        _fill(path, role, settings)
    except OSError as error:
        raise FolderError(f"--data {path}: cannot be written: {error.strerror}") from None
    return open_folder(path)


def write_whole(path: Path, data: bytes, mode: int = 0o644) -> None:
    """Replace a small file so that after a crash it holds either the old bytes or the new ones."""
    beside = path.with_name(path.name + ".new")
    descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode)
    with os.fdopen(descriptor, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    os.replace(beside, path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def write_toml(path: Path, known: Mapping[str, Any]) -> None:
    """Names and values as TOML; every value as text, as `read_settings` reads it."""
    lines = "".join(f"{name} = {json.dumps(str(value))}\n" for name, value in known.items())
    write_whole(path, lines.encode())


def _check_format(path: Path) -> None:
    text = (path / "FORMAT").read_text("utf-8", "replace").strip()
    if not text.isdecimal():
        raise FolderError(f"{path / 'FORMAT'}: holds {text[:20]!r}, not a number")
    if int(text) > FORMAT:
        raise FolderError(f"--data {path}: written by a newer Threemark (format {text}, this one knows {FORMAT})")


def _foreign(path: Path) -> bool:
    """Whether files are here that a first start, even one cut short, does not leave behind."""
    return bool(
        {inside.name.removesuffix(".new") for inside in path.iterdir()} - {*_INSIDE, "keys", "node.toml", "FORMAT"}
    )


def _fill(path: Path, role: str, settings: Mapping[str, Any]) -> None:
    """FORMAT comes last: a folder without it was never finished and is not a node's."""
    path.mkdir(parents=True, exist_ok=True)
    for name in _INSIDE:
        (path / name).mkdir(exist_ok=True)
    (path / "keys").mkdir(mode=0o700, exist_ok=True)
    known = {"role": role, "node": str(uuid.uuid4()), **{k: v for k, v in settings.items() if v is not None}}
    write_toml(path / "node.toml", known)
    write_whole(path / "FORMAT", f"{FORMAT}\n".encode())
