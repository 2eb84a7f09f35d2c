"""The layout of the database over time, with Alembic, run when a store is opened.

A new database gets the newest layout at once (`sql_tables.metadata`); an older one is brought there step by step
(`versions/`) in the transaction that opens it. Both come out equal, which a test holds them to. To change the layout:
change `sql_tables`, add a step, set HEAD.
"""

from collections.abc import Callable
from pathlib import Path

from sqlalchemy import Connection, inspect, text

from sync.errors import StoreMissing, StoreNewer, StoreOlder
from sync.sql_tables import head, metadata

__all__ = ["FIRST", "HEAD", "bring_up_to_date", "check_readable", "revision_of"]

FIRST = "0001"
HEAD = "0003"

_TABLE = "alembic_version"


def bring_up_to_date(connection: Connection, before: Callable[[str], None]) -> None:
    """Make the layout the newest, in the caller's transaction; `before` is called with the old one if that changes it.

    Raises StoreNewer.
    """
    found = revision_of(connection)
    if found == HEAD:
        return
    if found is None:
        metadata.create_all(connection)
        _write_revision(connection)
        return
    before(found)
    _upgrade(connection, found)


def check_readable(connection: Connection) -> None:
    """Raises StoreMissing, StoreOlder or StoreNewer unless the layout is the newest."""
    found = revision_of(connection)
    if found is None:
        raise StoreMissing("There is no store in this database.")
    if found != HEAD:
        raise StoreOlder(f"The database has layout {found}, older than {HEAD}.")


def revision_of(connection: Connection) -> str | None:
    """The layout of this database; None where there is none. Raises StoreNewer for one unknown here."""
    tables = inspect(connection)
    if not tables.has_table(head.name):
        return None
    if not tables.has_table(_TABLE):
        return FIRST
    found = str(connection.scalar(text(f"SELECT version_num FROM {_TABLE}")))  # noqa: S608 - a name of ours
    if found > HEAD:
        raise StoreNewer(f"The database has layout {found}, newer than {HEAD}.")
    return found


def _write_revision(connection: Connection) -> None:
    connection.execute(text(f"CREATE TABLE {_TABLE} (version_num VARCHAR(32) NOT NULL PRIMARY KEY)"))
    connection.execute(text(f"INSERT INTO {_TABLE} VALUES (:head)"), {"head": HEAD})  # noqa: S608 - a name of ours


def _upgrade(connection: Connection, found: str) -> None:
    # Only a store that is behind pays for importing Alembic.
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    script = ScriptDirectory.from_config(config)
    steps = EnvironmentContext(config, script, fn=lambda at, _: script._upgrade_revs(HEAD, at or found))
    steps.configure(connection=connection)
    steps.run_migrations()
