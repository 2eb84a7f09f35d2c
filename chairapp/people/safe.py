"""What people's secrets are kept in: at a chair node a file for its owner only, at a clinic a table all servers share.

Nothing of it is an entry, travels to a tablet or goes into a backup.
"""

import json
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

from sqlalchemy import insert, select, update

from sync.atomic import replace_file
from sync.sql_store import SqlStore
from sync.sql_tables import people_safe
from sync.store import Store

__all__ = ["FileSafe", "Safe", "SqlSafe", "safe_of"]

Change = Callable[[Any], Any]


class Safe(Protocol):
    """Named JSON values. Calls block; they may come from any thread, at a clinic from several processes too."""

    def read(self, name: str) -> Any:
        """None for a name nothing is kept under."""

    def change(self, name: str, change: Change) -> Any:
        """Keep what `change` makes of the value, with no other change in between; returns that."""


class FileSafe:
    """One JSON file, 0600."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._guard = threading.Lock()

    def read(self, name: str) -> Any:
        with self._guard:
            return self._all().get(name)

    def change(self, name: str, change: Change) -> Any:
        with self._guard:
            kept = self._all()
            kept[name] = change(kept.get(name))
            replace_file(self._path, json.dumps(kept).encode())
            return kept[name]

    def _all(self) -> dict[str, Any]:
        try:
            kept: dict[str, Any] = json.loads(self._path.read_bytes())
        except FileNotFoundError:
            return {}
        return kept


class SqlSafe:
    """A table of its own beside the entries of `store`. Raises StoreAway."""

    def __init__(self, store: SqlStore) -> None:
        self._database = store.database

    def read(self, name: str) -> Any:
        with self._database.reading() as connection:
            value = connection.scalar(select(people_safe.c.value).where(people_safe.c.name == name))
        return None if value is None else json.loads(value)

    def change(self, name: str, change: Change) -> Any:
        with self._database.writing() as connection:
            value = connection.scalar(select(people_safe.c.value).where(people_safe.c.name == name))
            changed = change(None if value is None else json.loads(value))
            row = {"value": json.dumps(changed)}
            if value is None:
                connection.execute(insert(people_safe), {"name": name, **row})
            else:
                connection.execute(update(people_safe).where(people_safe.c.name == name), row)
        return changed


def safe_of(store: Store, file: Path) -> Safe:
    """The safe of a node with this store; `file` is used where there is no database."""
    return SqlSafe(store) if isinstance(store, SqlStore) else FileSafe(file)
