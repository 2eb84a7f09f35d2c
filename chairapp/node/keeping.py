"""What keeps a node's data safe, as commands: backup, restore, taking in a tablet's file, erasing a value."""

import os
import shutil
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from chairapp.node.errors import FolderError, NodeError
from chairapp.node.folder import Folder, open_folder, write_toml
from chairapp.node.node import Node, devices_of, open_store
from chairapp.node.reading import database, reading
from chairapp.node.settings import read_settings
from sync.backup import Backup, Known, open_backup, remember, write_backup
from sync.errors import StoreInUse
from sync.hand_in import Taken, read_file, take_in
from sync.sql_devices import SqlDevices
from sync.sql_store import SqlStore
from sync.store import Store

__all__ = ["backup_all", "backup_beside", "erase_value", "import_file", "restore_all"]

_DOCUMENTS = ("FORMAT", "node.toml", "clinic.json")
_FOLDERS = ("sequences", "blobs")


def backup_all(data: Path | None, url: str | None, to: Path) -> str:
    """Write a backup of a node, running or not, or of a database alone; says what is in it.

    Raises NodeError and sync.errors.SyncError; the file that was there before is then still there.
    """
    with reading(data) if data else database(url or "") as (folder, store):
        backup = _written(folder, store, to)
    told = f"{to}: {backup.head.position - backup.cut.position} entries, read again and whole."
    return f"{told} Head {backup.head.hash[:16]} at {backup.head.position}."


def backup_beside(folder: Folder, store: SqlStore, to: Path) -> Backup:
    """The same of a clinic server that runs in this process; through connections of its own, as `store` may close.

    Raises sync.errors.SyncError.
    """
    with database(_address(store)) as (_, own):
        return _written(folder, own, to)


def restore_all(data: Path | None, url: str | None, source: Path) -> str:
    """Make a node's folder, or fill an empty database, from a backup; says what came back.

    Raises NodeError when something is there already, sync.errors.SyncError for a backup that is not whole.
    """
    backup = open_backup(source)
    if data is None:
        count = _fill(SqlStore(url or ""), backup)
        left = ", without documents and attachments: those need --data" if backup.file_names() else ""
        return f"{count} entries are back{left}. {_AGAIN}"
    count = _restore_folder(data, url, backup, source)
    return f"{count} entries are back in {data}. {_AGAIN}"


def import_file(data: Path | None, url: str | None, source: Path, environment: Mapping[str, str]) -> Taken:
    """Take in what a tablet saved to a file. Raises NodeError, sync.errors.SyncError."""
    content = read_file(source)
    if data is None:
        if content.get("blobs"):
            raise NodeError(
                f"{source}: holds attachments, which have no place in a database: name the folder with --data"
            )
        return _into_database(url or "", content)
    with _stopped(data, environment) as node:
        return take_in(node.store, content, node.check, blobs=node.blobs)


def erase_value(data: Path, entry_id: str, reason: str, author: str, environment: Mapping[str, str]) -> str:
    """Erase one value at the clinic server, in the name of its manager. Raises NodeError, sync.errors.SyncError."""
    with _stopped(data, environment) as node:
        if node.settings.role != "clinic":
            raise NodeError(f"--data {data}: erase at the clinic server, whose word reaches every node and tablet")
        person = node.clinic().person(author)
        if person is None or person.role != "manager":
            raise NodeError(f"--author {author!r}: not the staff id of a manager of this clinic")
        node.device = lambda: node.folder.node
        made = node.erase(entry_id, reason, author)
        return f"The value of entry {entry_id} is erased, by entry {made['id']}. Backups taken before still hold it."


_AGAIN = "Start the node: what the others have and this one lacks, they offer again."


def _written(folder: Folder | None, store: Store, to: Path) -> Backup:
    files = _files(folder) if folder else iter(())
    backup = write_backup(store, to, devices=_devices(folder, store), files=files)
    if address := _address(store):
        noting = SqlStore(address)
        remember(noting, backup)
        noting.close()
    return backup


def _files(folder: Folder) -> Iterator[tuple[str, bytes]]:
    """What stands beside the entries; no key and no token is among it."""
    for name in _DOCUMENTS:
        if (folder.path / name).is_file():
            yield name, (folder.path / name).read_bytes()
    for name in _FOLDERS:
        for file in sorted((folder.path / name).glob("*")):
            if file.is_file() and not file.name.startswith("."):
                yield f"{name}/{file.name}", file.read_bytes()


def _devices(folder: Folder | None, store: Store) -> Known:
    if isinstance(store, SqlStore):
        return SqlDevices(store).with_digests()
    return devices_of(folder, store).with_digests() if folder else []


def _address(store: Store) -> str:
    """Where to note the backup: a clinic server's, on which others rely to let go of what they hold."""
    if not isinstance(store, SqlStore):
        return ""
    return str(store.database.engine.url.render_as_string(hide_password=False))


def _restore_folder(data: Path, url: str | None, backup: Backup, source: Path) -> int:
    """Made beside and put in place whole: a restore that was cut off leaves nothing that looks like a node's data."""
    if data.exists() and (not data.is_dir() or any(data.iterdir())):
        raise FolderError(f"--data {data}: not empty, restore into a new folder; to replace a node stop it first")
    if not {"node.toml", "FORMAT"} <= set(backup.file_names()):
        raise FolderError(f"--from {source}: the backup of a database alone, restore it with --store")
    fresh = data.with_name(f".{data.name}.restoring")
    shutil.rmtree(fresh, ignore_errors=True)
    try:
        folder = _write_files(fresh, backup.files(), url)
        store = open_store(folder, url or folder.file.get("store"))
        devices_of(folder, store).take_over(backup.devices())
        count = _fill(store, backup, devices=False)
        if data.exists():
            data.rmdir()
        os.replace(fresh, data)
    except OSError as error:
        raise FolderError(f"--data {data}: cannot be written: {error.strerror}") from None
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    return count


def _write_files(fresh: Path, files: Iterable[tuple[str, bytes]], url: str | None) -> Folder:
    for name in (*_FOLDERS, "backups", "log"):
        (fresh / name).mkdir(parents=True)
    (fresh / "keys").mkdir(mode=0o700)
    for name, content in files:
        (fresh / name).write_bytes(content)
    if url:
        folder = open_folder(fresh)
        write_toml(fresh / "node.toml", {**folder.file, "store": url})
    return open_folder(fresh)


def _fill(store: Store, backup: Backup, devices: bool = True) -> int:
    try:
        backup.restore_into(store)
        if devices and isinstance(store, SqlStore):
            SqlDevices(store).take_over(backup.devices())
        return store.head().position
    finally:
        store.close()


@contextmanager
def _stopped(data: Path, environment: Mapping[str, str]) -> Iterator[Node]:
    """The node of a folder nobody else writes to."""
    folder = open_folder(data)
    settings = read_settings(folder.role, folder.path, {}, environment, folder.file)
    try:
        store = open_store(folder, settings.store)
    except StoreInUse:
        raise FolderError(f"--data {data}: a node is running on it, stop the node first") from None
    try:
        yield Node(settings, folder, store)
    finally:
        store.close()


def _into_database(url: str, content: dict[str, Any]) -> Taken:
    """Checked are the envelopes only: what items there are stands in documents, and those in a folder."""
    with database(url):
        pass
    store = SqlStore(url)
    try:
        return take_in(store, content, None)
    finally:
        store.close()
