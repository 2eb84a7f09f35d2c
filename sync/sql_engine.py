"""A connection to the database: how SQLite is set up, transactions that lock before they look, errors as sentences.

SQLite runs in WAL mode with synchronous FULL, so what was committed survives a power cut; what is overwritten is
overwritten with zeros (`secure_delete`), so an erased value does not stay in the file.
"""

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, DBAPIError

from sync.errors import StoreAway, StoreMissing, StoreReadOnly

__all__ = ["Database"]

# Any number will do, so long as every process of one clinic takes the same: "three" in ASCII.
_LOCK = 0x7468726565
_PATIENCE_S = 30


class Database:
    """A database: `sqlite:///FILE` or `postgresql+psycopg://...`. Raises StoreMissing, StoreAway."""

    def __init__(self, url: str, write: bool) -> None:
        self.engine = _engine(url, write)
        self._write = write
        # SQLite's own waiting for a lock is a poll; threads of this process queue here instead.
        self._guard = threading.Lock()

    @property
    def file(self) -> Path | None:
        """The file of an SQLite database."""
        named = self.engine.url.database
        return Path(named) if self.engine.dialect.name == "sqlite" and named else None

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction no other writer can come between, in any process. Raises StoreAway with nothing kept."""
        if not self._write:
            raise StoreReadOnly("The database was opened for reading.")
        try:
            with self._guard, self.engine.connect().execution_options(writes=True) as connection, connection.begin():
                if connection.dialect.name == "postgresql":
                    connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
                yield connection
        except DBAPIError as error:
            raise StoreAway(f"The database did not take it: {_reason(error)}") from error

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that sees one state of the database all through."""
        try:
            with self.engine.connect() as connection:
                if connection.dialect.name == "postgresql":
                    connection.execution_options(isolation_level="REPEATABLE READ")
                yield connection
        except DBAPIError as error:
            raise StoreAway(f"The database could not be read: {_reason(error)}") from error

    def forget(self) -> None:
        """Empty SQLite's log, in which a value may stand that was erased since.

        Does not wait for a reader that still needs the log: then SQLite empties it later by itself.
        """
        if self.file:
            with self.engine.connect().execution_options(autocommit=True) as connection:
                connection.exec_driver_sql("PRAGMA busy_timeout=0")
                connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
                connection.exec_driver_sql(f"PRAGMA busy_timeout={_PATIENCE_S * 1000}")

    def copy_beside(self, name: str) -> None:
        """Copy an SQLite file, its log included, to FILE.before-NAME. Raises StoreAway."""
        if not self.file:
            return
        beside = self.file.with_name(f"{self.file.name}.before-{name}")
        try:
            beside.touch(mode=0o600)
            with closing(sqlite3.connect(self.file)) as source, closing(sqlite3.connect(beside)) as copy:
                source.backup(copy)
        except (sqlite3.Error, OSError) as error:
            raise StoreAway(f"{self.file.name} could not be copied before it is changed: {error}.") from error

    def close(self) -> None:
        self.engine.dispose()


def _engine(url: str, write: bool) -> Engine:
    try:
        made = make_url(url)
    except ArgumentError:
        raise StoreMissing("This is no address of a database.") from None
    if made.get_backend_name() != "sqlite":
        return create_engine(made, pool_pre_ping=True)
    if made.database and not write and not Path(made.database).exists():
        raise StoreMissing(f"There is no store at {made.database}.")
    if made.database and write:
        Path(made.database).parent.mkdir(parents=True, exist_ok=True)
        # Made here, for its owner only; SQLite gives its log files the same rights.
        Path(made.database).touch(mode=0o600)
    engine = create_engine(made, connect_args={"timeout": _PATIENCE_S})
    event.listen(engine, "connect", _set_up_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _set_up_sqlite(connection: Any, _record: object) -> None:
    # The driver must not begin transactions of its own: ours choose what they lock (`_begin_sqlite`).
    connection.isolation_level = None
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA secure_delete=ON")


def _begin_sqlite(connection: Connection) -> None:
    options = connection.get_execution_options()
    if options.get("autocommit"):
        return
    # A writer locks before it reads the head, or two could allocate the same position.
    connection.exec_driver_sql("BEGIN IMMEDIATE" if options.get("writes") else "BEGIN")


def _reason(error: DBAPIError) -> str:
    return str(error.orig).strip().splitlines()[0] if error.orig else type(error).__name__
