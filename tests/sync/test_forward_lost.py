"""A store put back, changed or damaged, at either end of the hop, is noticed and gets back what it lost."""

import shutil
from pathlib import Path

from sync.tiny_store import TinyStore
from tests.sync.conftest import Maker
from tests.sync.two_nodes import Clinic, once


def test_a_clinic_with_another_store_is_offered_everything_again_also_what_came_from_it(
    clinic: Clinic, chair: TinyStore, maker: Maker
) -> None:
    fetched, own = maker.readings(2), maker.readings(3)
    clinic.store.add(fetched)
    chair.add(own)
    node = clinic.node(chair)
    once(node)
    clinic.store.close()
    clinic.open("another.sqlite")
    once(node)
    assert sorted(entry["id"] for entry in clinic.feed) == sorted(entry["id"] for entry in [*own, *fetched])
    assert "another one" in node.status()["alarm"]
    assert node.status()["pending"] == 0


def test_a_clinic_put_back_to_an_older_state_is_noticed_and_offered_what_it_lost(
    clinic: Clinic, chair: TinyStore, maker: Maker, tmp_path: Path
) -> None:
    entries = maker.readings(5)
    chair.add(entries[:2])
    node = clinic.node(chair)
    once(node)
    clinic.store.close()
    shutil.copy(tmp_path / "clinic.sqlite", tmp_path / "older.sqlite")
    clinic.open("clinic.sqlite")
    chair.add(entries[2:])
    once(node)
    clinic.store.close()
    clinic.open("older.sqlite")
    assert clinic.feed == entries[:2]
    once(node)
    assert clinic.feed == entries
    assert "has lost entries" in node.status()["alarm"]
    again = clinic.node(chair)
    assert "has lost entries" in again.status()["alarm"]


def test_a_clinic_whose_chain_was_rewritten_is_noticed(
    clinic: Clinic, chair: TinyStore, maker: Maker, tmp_path: Path
) -> None:
    entries = maker.readings(2)
    chair.add(entries)
    node = clinic.node(chair)
    once(node)
    with clinic.store.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql("UPDATE head SET hash = '" + "0" * 64 + "'")
    once(node)
    assert "was changed" in node.status()["alarm"]


def test_a_node_put_back_to_an_older_state_fetches_what_it_lost(clinic: Clinic, tmp_path: Path, maker: Maker) -> None:
    store = TinyStore(tmp_path / "chair")
    entries = maker.readings(4)
    store.add(entries[:2])
    node = clinic.node(store)
    once(node)
    older = (tmp_path / "chair" / "entries.jsonl").read_bytes()
    store.add(entries[2:])
    once(node)
    store.close()
    (tmp_path / "chair" / "entries.jsonl").write_bytes(older)
    store = TinyStore(tmp_path / "chair")
    assert len(store.visit(maker.visit)) == 2
    once(clinic.node(store))
    assert store.visit(maker.visit) == entries
    assert clinic.feed == entries
    store.close()


def test_an_entry_damaged_on_the_nodes_disk_is_fetched_back_from_the_clinic(
    clinic: Clinic, tmp_path: Path, maker: Maker
) -> None:
    store = TinyStore(tmp_path / "chair")
    entries = maker.readings(3)
    for entry in entries:
        store.add([entry])
    once(clinic.node(store))
    store.close()
    journal = tmp_path / "chair" / "entries.jsonl"
    journal.write_bytes(journal.read_bytes().replace(entries[1]["id"].encode(), b"x" * 36))
    store = TinyStore(tmp_path / "chair")
    assert store.visit(maker.visit) == [entries[0], entries[2]]
    once(clinic.node(store))
    assert store.visit(maker.visit) == entries
    assert clinic.feed == entries
    store.close()
