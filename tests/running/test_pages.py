"""Health for machines, what the manager sees on the front page, the pages of retention: on one clinic server."""

import shutil
from collections import namedtuple

import pytest

from chairapp.node.access_log import AccessLog
from chairapp.running import retention
from chairapp.running.concerns import GB
from sync.entry import Refusal
from tests.people.conftest import site_of
from tests.running.conftest import node_of, notes
from tests.sync.conftest import Maker

Usage = namedtuple("Usage", "total used free")
DAY = 24 * 3600 * 1000


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages") / "data"
    node = node_of(folder)
    node.store.refuse({"<b>": "a name"}, Refusal("v", "must be 1"), "tablet")
    maker = Maker("tablet")
    node.store.add(notes(maker))
    node.store.close()
    with site_of(folder, retention_days="1") as site:
        site.visit, site.folder = maker.visit, folder
        yield site


@pytest.fixture(autouse=True)
def plenty(monkeypatch):
    """A disk with room, whatever the machine has."""
    monkeypatch.setattr(shutil, "disk_usage", lambda _: Usage(500 * GB, 100 * GB, 400 * GB))


def test_health_tells_machines_in_fixed_words_and_nothing_of_anybody(site):
    answer = site.web().get("/health")
    assert answer.status_code == 503
    assert answer.json() == {
        "status": "serious",
        "role": "clinic",
        "concerns": [{"what": "backup", "serious": True}, {"what": "refused", "serious": False}],
    }
    assert answer.headers["cache-control"] == "no-store"


def test_the_manager_sees_it_on_the_home_page_and_nobody_else_does(site):
    def home(who):
        cookie = {"Cookie": f"{site.doors.cookie}={site.doors.sessions.begin(who)}"}
        return site.web(**cookie).get("/").text

    assert "There is no backup yet." in home("manager")
    assert "1 entry was refused and waits for you." in home("manager")
    assert "To look after" not in home("assistant")
    assert "To look after" not in site.web().get("/").text


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
