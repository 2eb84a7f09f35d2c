"""Retention: what is older is listed for the manager, who erases it; nothing is ever erased by itself."""

import pytest

from chairapp.node.access_log import AccessLog
from chairapp.running import retention
from chairapp.running.retention import Retention
from tests.people.conftest import site_of
from tests.running.conftest import node_of
from tests.sync.conftest import Maker

DAY = 24 * 3600 * 1000


def notes(maker, count=2):
    made = [maker.reading(value="12 Invented Street") | {"kind": "note", "item": "seating"} for _ in range(count)]
    return [maker.reading(value={"digest": "0" * 64, "box": "7KQ4M2X9"}) | {"kind": "opened", "item": None}, *made]


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


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("retention") / "data"
    node = node_of(folder)
    maker = Maker("tablet")
    node.store.add(notes(maker))
    node.store.close()
    with site_of(folder, retention_days="1") as site:
        site.visit, site.folder = maker.visit, folder
        yield site


def test_the_manager_looks_gives_a_reason_and_only_then_it_is_erased_and_noted(site, monkeypatch):
    cookie = {"Cookie": f"{site.doors.cookie}={site.doors.sessions.begin('manager')}"}
    web = site.web(**cookie, **{"Origin": "http://127.0.0.1:8190", "Sec-Fetch-Site": "same-origin"})
    assert "None is that old." in web.get("/audit/retention").text
    one = f"/audit/retention/{site.visit}"
    assert web.post(one, data={"reason": "early"}).status_code == 404
    monkeypatch.setattr(retention, "DAY_MS", -DAY)  # so that all is old
    assert "7KQ4-M2X9" in web.get("/audit/retention").text
    assert "This cannot be taken back" in web.get(one).text
    again = web.post(one, data={"reason": "  "})
    assert (again.status_code, "Why: missing. Write why" in again.text) == (422, True)
    taken = web.post(one, data={"reason": "past <b>its</b> time"})
    assert (taken.status_code, taken.headers["location"]) == (303, "/audit/retention")
    assert "None is that old." in web.get("/audit/retention").text
    assert web.get(one).status_code == 404
    log = AccessLog(site.folder / "log", 3650)
    noted = [line["what"] for line in log.about(site.visit)]
    assert noted.count("erased the values of a visit") == 1
    assert "looked at what to erase of a visit" in noted
