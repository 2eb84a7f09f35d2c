"""A visit is marked for its summary in the transaction that changes it, and the mark goes only with that change."""

from collections.abc import Iterator

import pytest

from sync.sql_store import SqlStore
from sync.store import Touched
from tests.sync.conftest import Maker


@pytest.fixture
def clinic(database: str) -> Iterator[SqlStore]:
    store = SqlStore(database)
    yield store
    store.close()


def test_every_visit_with_a_new_entry_is_marked_the_one_longest_so_first(clinic: SqlStore, maker: Maker) -> None:
    other = maker.stamper.new_id()
    clinic.add([*maker.readings(2), maker.reading(visit=other)])
    assert clinic.dirty() == [Touched(maker.visit, 2, 2), Touched(other, 1, 3)]
    clinic.add([maker.reading()])
    assert clinic.dirty() == [Touched(other, 1, 3), Touched(maker.visit, 3, 4)]
    assert clinic.dirty(1) == [Touched(other, 1, 3)]


def test_entries_that_are_known_mark_nothing(clinic: SqlStore, maker: Maker) -> None:
    entries = maker.readings(2)
    clinic.add(entries)
    clinic.clean(clinic.dirty())
    assert clinic.dirty() == []
    clinic.add(entries)
    assert clinic.dirty() == []


def test_a_visit_touched_while_it_was_summed_up_keeps_its_mark(clinic: SqlStore, maker: Maker) -> None:
    clinic.add(maker.readings(2))
    summed = clinic.dirty()
    clinic.add([maker.reading()])
    clinic.clean(summed)
    assert clinic.dirty() == [Touched(maker.visit, 3, 3)]


def test_every_visit_can_be_marked_again(clinic: SqlStore, maker: Maker) -> None:
    other = maker.stamper.new_id()
    clinic.add([maker.reading(), maker.reading(visit=other)])
    clinic.clean(clinic.dirty())
    clinic.soil()
    assert [mark.visit for mark in clinic.dirty()] == [maker.visit, other]
