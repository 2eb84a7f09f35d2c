"""The store of a node is a real TinyDB, except that nothing in it can be changed."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from tinydb import Query, TinyDB
from tinydb.table import Table

from sync.errors import StoreImmutable
from sync.journal_db import JournalDB, JournalStorage
from sync.tiny_store import TinyStore
from tests.sync.conftest import Maker


@pytest.fixture
def db(tmp_path: Path) -> Iterator[JournalDB]:
    db = JournalDB(tmp_path / "entries.jsonl")
    yield db
    db.close()


def test_a_visit_is_a_table_that_answers_queries(db: JournalDB, maker: Maker) -> None:
    entries = maker.readings(4)
    table = db.table(maker.visit)
    assert table.insert_multiple(entries[:3]) == [entry["id"] for entry in entries[:3]]
    assert table.insert(entries[3]) == entries[3]["id"]
    assert table.search(Query().value >= 2) == entries[2:]
    assert table.get(doc_id=entries[0]["id"]) == entries[0]
    assert table.count(Query().device == "tablet-1") == len(table) == 4
    assert table.all() == entries
    assert table.contains(Query().value == 3)
    assert db.tables() == {maker.visit}


def test_a_query_asked_before_sees_what_was_added_since(tmp_path: Path, maker: Maker) -> None:
    store = TinyStore(tmp_path)
    store.add([maker.reading()])
    late = Query().value > 0
    assert store.db.table(maker.visit).search(late) == []
    entry = maker.reading()
    store.add([entry])
    assert store.db.table(maker.visit).search(late) == [entry]
    store.close()


CHANGES: dict[str, Callable[[Any, Table], object]] = {
    "update": lambda db, table: table.update({"value": 9}),
    "update_multiple": lambda db, table: table.update_multiple([({"value": 9}, Query().value == 0)]),
    "upsert": lambda db, table: table.upsert({"value": 9}, Query().value == 0),
    "remove": lambda db, table: table.remove(Query().value == 0),
    "truncate": lambda db, table: table.truncate(),
    "drop_table": lambda db, table: db.drop_table(table.name),
    "drop_tables": lambda db, table: db.drop_tables(),
    "insert again": lambda db, table: table.insert(table.all()[0]),
    "insert twice": lambda db, table: table.insert_multiple([Maker("t2").reading(visit=table.name)] * 2),
    "write none": lambda db, table: db.storage.write({}),
    "write another": lambda db, table: db.storage.write({table.name: {table.all()[0]["id"]: {"value": 9}}}),
}


@pytest.mark.parametrize("name", CHANGES)
def test_nothing_in_it_can_be_changed_or_removed(db: JournalDB, maker: Maker, tmp_path: Path, name: str) -> None:
    entries = maker.readings(2)
    table = db.table(maker.visit)
    table.insert_multiple(entries)
    with pytest.raises(StoreImmutable):
        CHANGES[name](db, table)
    assert table.all() == entries
    assert JournalDB(tmp_path / "entries.jsonl", write=False).table(maker.visit).all() == entries


def test_an_entry_goes_into_the_table_of_its_visit_only(db: JournalDB, maker: Maker) -> None:
    with pytest.raises(ValueError, match="named by its visit"):
        db.table("another").insert(maker.reading())
    with pytest.raises(ValueError, match="named by its visit"):
        db.insert(maker.reading())
    assert db.tables() == set()


def test_tinydbs_own_table_stands_on_the_journal_too_and_only_what_is_new_is_written(
    tmp_path: Path, maker: Maker
) -> None:
    class StockDB(TinyDB):
        default_storage_class = JournalStorage  # type: ignore[assignment]

    db = StockDB(tmp_path / "entries.jsonl")
    path, sizes = tmp_path / "entries.jsonl", []
    entries = maker.readings(3)
    for entry in entries:
        table = db.table(maker.visit)
        table.document_id_class = str  # type: ignore[assignment]
        table.insert(table.document_class(entry, entry["id"]))
        sizes.append(path.stat().st_size)
    assert sizes[2] - sizes[1] == sizes[1] - sizes[0]
    assert table.all() == entries
    with pytest.raises(StoreImmutable):
        table.remove(Query().value == 0)
    assert table.all() == entries
    db.close()
    assert JournalDB(path, write=False).table(maker.visit).all() == entries
