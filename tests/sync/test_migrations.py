"""The layout of the database: a new one and one brought up to date are the same, a newer one is not touched."""

import re
import shutil
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect, text

from sync import migrations, seal
from sync.errors import StoreAway, StoreMissing, StoreNewer, StoreOlder
from sync.sql_engine import Database
from sync.sql_store import SqlStore
from sync.sql_tables import metadata
from tests.sync.conftest import Maker


def _run(url: str, *statements: str) -> None:
    database = Database(url, write=True)
    with database.writing() as connection:
        for statement in statements:
            connection.execute(text(statement))
    database.close()


def _to_the_first_layout(url: str) -> None:
    _run(
        url,
        "DROP TABLE alembic_version",
        "DROP TABLE erasure",
        "DROP TABLE dirty",
        "DROP TABLE device",
        "DROP TABLE attachment",
        "DROP TABLE people_safe",
        "ALTER TABLE entry DROP COLUMN bare",
    )


def _layout(connection: Connection) -> dict[str, object]:
    """Tables, columns and indexes as the database itself describes them."""
    looked_at = inspect(connection)
    return {
        table: (
            [(column["name"], str(column["type"]), column["nullable"]) for column in looked_at.get_columns(table)],
            sorted(
                (str(index["name"]), index["column_names"], index["unique"]) for index in looked_at.get_indexes(table)
            ),
            looked_at.get_pk_constraint(table)["constrained_columns"],
            sorted(unique["column_names"] for unique in looked_at.get_unique_constraints(table)),
        )
        for table in sorted(looked_at.get_table_names())
    }


def _seen(url: str) -> tuple[dict[str, object], list[object]]:
    database = Database(url, write=False)
    with database.reading() as connection:
        layout = _layout(connection)
        differences = compare_metadata(MigrationContext.configure(connection), metadata)
    database.close()
    return layout, differences


def test_a_new_database_and_one_brought_up_to_date_are_the_same(database: str, maker: Maker) -> None:
    store = SqlStore(database)
    store.add(maker.readings(3))
    head = store.head()
    store.close()
    fresh, _ = _seen(database)
    _to_the_first_layout(database)
    assert _seen(database)[0] != fresh
    store = SqlStore(database)
    assert store.head() == head
    assert seal.verify_store(store) is None
    assert [mark.visit for mark in store.dirty()] == [maker.visit]
    store.close()
    migrated, differences = _seen(database)
    assert migrated == fresh
    assert differences == []


@pytest.mark.parametrize("used", [True, False])
def test_a_database_whose_secrets_stood_in_a_table_made_by_the_way_keeps_them(
    database: str, maker: Maker, used: bool
) -> None:
    store = SqlStore(database)
    fresh, _ = _seen(database)
    name = "a" * 64
    value = {"sha256": name, "type": "image/png", "bytes": 5}
    store.add(
        [maker.stamper.entry(maker.visit, kind, author="staff-1", value=value) for kind in ("attachment", "note")]
    )
    store.close()
    _run(database, "DROP TABLE attachment", "UPDATE alembic_version SET version_num = '0002'")
    _run(database, "INSERT INTO people_safe VALUES ('sessions', '[1]')" if used else "DROP TABLE people_safe")
    store = SqlStore(database)
    assert store.named([name, "b" * 64]) == {name}
    with store.database.reading() as connection:
        kept = connection.execute(text("SELECT name, value FROM people_safe")).all()
    assert [tuple(row) for row in kept] == ([("sessions", "[1]")] if used else [])
    store.close()
    migrated, differences = _seen(database)
    assert (migrated, differences) == (fresh, [])


def test_the_steps_lead_from_the_first_layout_to_the_one_the_program_writes() -> None:
    config = Config()
    config.set_main_option("script_location", str(Path(migrations.__file__).parent))
    script = ScriptDirectory.from_config(config)
    assert script.get_heads() == [migrations.HEAD]
    assert script.get_bases() == [migrations.FIRST]


def test_an_sqlite_file_is_copied_before_it_is_changed(tmp_path: Path, maker: Maker) -> None:
    url = f"sqlite:///{tmp_path}/clinic.sqlite"
    store = SqlStore(url)
    store.add(maker.readings(3))
    store.close()
    assert [path.name for path in tmp_path.glob("*before*")] == []
    _to_the_first_layout(url)
    SqlStore(url).close()
    copy = tmp_path / "clinic.sqlite.before-0001"
    assert copy.stat().st_mode & 0o777 == 0o600
    layout, _ = _seen(f"sqlite:///{copy}")
    assert "dirty" not in layout
    shutil.copy(copy, tmp_path / "again.sqlite")
    again = SqlStore(f"sqlite:///{tmp_path}/again.sqlite")
    assert len(again.visit(maker.visit)) == 3
    again.close()


def test_a_database_that_cannot_be_copied_first_is_not_changed(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path}/clinic.sqlite"
    SqlStore(url).close()
    _to_the_first_layout(url)
    (tmp_path / "clinic.sqlite.before-0001").mkdir()
    with pytest.raises(StoreAway, match=re.escape("clinic.sqlite could not be copied before it is changed")):
        SqlStore(url)
    assert "dirty" not in _seen(url)[0]


def test_a_newer_layout_is_refused_and_not_touched(database: str) -> None:
    SqlStore(database).close()
    _run(database, "UPDATE alembic_version SET version_num = '9999'")
    for write in (True, False):
        with pytest.raises(StoreNewer, match="The database has layout 9999, newer than") as refused:
            SqlStore(database, write=write)
        assert refused.value.do == "Start it with the newer program that made it."


def test_reading_an_older_layout_changes_nothing_and_says_what_to_do(database: str) -> None:
    SqlStore(database).close()
    _to_the_first_layout(database)
    before, _ = _seen(database)
    with pytest.raises(StoreOlder, match="The database has layout 0001, older than") as refused:
        SqlStore(database, write=False)
    assert "Start the node once" in refused.value.do
    assert _seen(database)[0] == before


def test_reading_a_database_without_a_store_makes_none(database: str, tmp_path: Path) -> None:
    if database.startswith("sqlite"):
        (tmp_path / "clinic.sqlite").touch()
    with pytest.raises(StoreMissing, match="There is no store in this database"):
        SqlStore(database, write=False)
    assert _seen(database)[0] == {}


def test_what_is_no_address_of_a_database_is_said_so() -> None:
    with pytest.raises(StoreMissing, match="This is no address of a database"):
        SqlStore("clinic.sqlite")
