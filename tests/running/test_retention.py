"""Retention: what is older is listed for the manager, who erases it; nothing is ever erased by itself."""

import pytest

from chairapp.running.retention import Retention
from tests.running.conftest import notes
from tests.sync.conftest import Maker

DAY = 24 * 3600 * 1000


@pytest.fixture
def two(node):
    """A node with a visit that came first and one that came later; their ids, and when the first came."""
    first, later = Maker("one"), Maker("two")
    node.store.add(notes(first))
    node.store.add(notes(later))
    return node, first.visit, later.visit, max(node.store.received(first.visit).values())


def test_visits_are_listed_from_the_day_after_their_retention_the_oldest_first(two):
    node, first, later, came = two
    assert Retention(node, 10, lambda: came + 10 * DAY).old() == []
    found = Retention(node, 10, lambda: came + 11 * DAY).old()
    assert [(old.visit, old.values) for old in found] == [(first, 2), (later, 2)]
    assert [old.visit for old in Retention(node, 10, lambda: came + 11 * DAY).old(1)] == [first]
    assert node.store.erasures() == {}


def test_without_a_retention_nothing_is_listed_and_nothing_can_be_erased_here(two):
    node, first, _, came = two
    unset = Retention(node, None, lambda: came + 99_999 * DAY)
    assert (unset.old(), unset.one(first)) == ([], None)


def test_every_value_but_what_holds_the_visit_together_goes_once_with_its_reason(two):
    node, first, later, came = two
    keeping = Retention(node, 10, lambda: came + 11 * DAY)
    assert keeping.erase(first, "past its time", "manager") == 2
    entries = node.store.visit(first)
    assert "Invented Street" not in str(entries)
    assert [entry["value"]["reason"] for entry in entries if entry["kind"] == "erasure"] == ["past its time"] * 2
    assert next(entry for entry in entries if entry["kind"] == "opened")["value"]["box"] == "7KQ4M2X9"
    assert "Invented Street" in str(node.store.visit(later))
    assert keeping.erase(first, "again", "manager") == 0
    assert keeping.one(first) is None
    assert [old.visit for old in keeping.old()] == [later]
