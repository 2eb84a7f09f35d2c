"""The chair's computer is destroyed: what was written on the tablet reaches the clinic all the same, once each."""

import shutil
import subprocess
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from chairapp.clinic import CLINIC_VISIT
from sync.sql_store import SqlStore
from tests.browser.chair import Chair
from tests.browser.conftest import Process, free_port, until
from tests.browser.test_whole_visit import ANSWERS, THREEMARK

pytestmark = pytest.mark.timeout(400)

LATER = "minutes => { const now = Date.now; Date.now = () => now() + minutes * 60000; }"
PICTURE = "import('tm_replica').then((replica) => replica.putBlob(new Uint8Array(5000), 'image/png'))"
KICK = "import('tm_replica').then((replica) => { replica.kick(); })"


class Clinic:
    """A clinic server and a chair node of it, each a process that can be killed, and a tablet paired at the chair."""

    def __init__(self, processes, folder: Path) -> None:
        self.folder = folder
        self._processes = processes
        self._ports = {role: free_port() for role in ("clinic", "chair")}
        self.clinic = self.start("clinic")
        self.chair = self.start("chair")
        until(self._knows_the_chair, "the clinic server to know where the chair node's pages come from")

    def start(self, role: str) -> Process:
        options = ["--clinic", self.url("clinic")] if role == "chair" else []
        command = [THREEMARK, role, "--data", str(self.folder / role), "--port", str(self._ports[role])]
        return self._processes([*command, *options], self.url(role))

    def url(self, role: str) -> str:
        return f"http://127.0.0.1:{self._ports[role]}"

    def destroy_the_chair(self) -> None:
        self.chair.kill()
        shutil.rmtree(self.folder / "chair")

    def stored(self) -> list[str]:
        """Ids of all entries of visits at the clinic, in the order they came, a double one twice."""
        store = SqlStore(f"sqlite:///{self.folder / 'clinic' / 'clinic.sqlite'}", write=False)
        try:
            entries = store.since(None, 500).entries
            return [entry["id"] for entry in entries if entry["visit"] != CLINIC_VISIT]
        finally:
            store.close()

    def _knows_the_chair(self) -> bool:
        headers = {"Origin": self.url("chair"), "Access-Control-Request-Method": "POST"}
        asked = urllib.request.Request(f"{self.url('clinic')}/sync/entries", method="OPTIONS", headers=headers)
        try:
            return urllib.request.urlopen(asked, timeout=5).status == 204
        except urllib.error.HTTPError:
            return False


@pytest.fixture
def place(processes, tmp_path):
    return Clinic(processes, tmp_path)


@pytest.fixture
def hand(place, tablets):
    """At a visit on the tablet whose first answers the chair node has and the clinic server, which is down, has not."""
    page = tablets(viewport={"width": 1024, "height": 768}).open(place.url("chair") + "/chair")
    until(lambda: _lamp(page)["state"] == "sent", "the tablet to be paired")
    place.clinic.kill()
    hand = Chair(page, ANSWERS)
    hand.sign_in("clin-1")
    hand.open_visit("1")
    hand.walk("seating.stable")
    until(lambda: hand.pending() == 0, "the chair node to have the first answers")
    return hand


def _lamp(page):
    lamp = page.locator(".lamp")
    return {name: lamp.get_attribute(f"data-{name}") for name in ("state", "pending", "direct")}


def _written(hand):
    everything = hand.page.evaluate("import('tm_replica').then((replica) => replica.everything())")
    return sorted(entry["id"] for entry in everything["entries"])


def _after_minutes(page, minutes):
    """So long after the tablet noticed that the node is away."""
    page.evaluate(KICK)
    until(lambda: _online(page) == "false", "the tablet to notice that the node is away")
    page.evaluate(LATER, minutes)
    page.evaluate(KICK)


def _to_the_data_page(page):
    page.locator(".lamp").click()
    page.locator(".save").wait_for()


def test_with_the_chairs_computer_destroyed_everything_goes_straight_to_the_clinic_also_what_that_had_taken(
    place, hand
):
    page = hand.page
    place.destroy_the_chair()
    hand.page.locator(".next").click()
    hand.walk("bench.heel")
    assert hand.pending() > 0
    first, waiting = len(_written(hand)), hand.pending()
    assert first > waiting, "the node that is gone had acknowledged some"
    assert _lamp(page)["direct"] == "", "nothing is offered for an absence of seconds"
    place.start("clinic")
    assert place.stored() == []

    _after_minutes(page, 6)
    until(lambda: _lamp(page)["direct"] == "offered", "the way past the node to be offered by itself")
    assert _lamp(page) == {"state": "waiting", "pending": str(waiting), "direct": "offered"}
    _to_the_data_page(page)
    page.locator(".direct").click()
    until(lambda: _lamp(page) == {"state": "sent", "pending": "0", "direct": "on"}, "the lamp to say it is sent")
    assert sorted(place.stored()) == _written(hand)
    assert "straight to the clinic" in page.locator(".lamp").inner_text()

    page.go_back()
    hand.walk("lip.support")
    until(lambda: hand.pending() == 0, "later answers to go there by themselves")
    assert len(_written(hand)) > first
    assert sorted(place.stored()) == _written(hand)


def test_a_node_that_comes_back_is_handed_everything_again_and_nothing_stands_anywhere_twice(place, hand):
    page = hand.page
    place.chair.kill()
    hand.page.locator(".next").click()
    hand.walk("bench.heel")
    place.start("clinic")
    _after_minutes(page, 6)
    until(lambda: _lamp(page)["direct"] == "offered", "the way past the node to be offered")
    _to_the_data_page(page)
    page.locator(".direct").click()
    until(lambda: _lamp(page)["direct"] == "on" and hand.pending() == 0, "everything to be at the clinic")

    place.start("chair")
    page.evaluate(KICK)
    until(lambda: _lamp(page)["direct"] == "", "the way past the node to be given up")
    page.go_back()
    hand.walk("lip.support")
    until(lambda: hand.pending() == 0, "the chair node to have the later answers")
    until(lambda: sorted(place.stored()) == _written(hand), "the clinic to have them from the chair node")


def test_a_clinic_that_does_not_answer_either_is_told_and_everything_stays_on_the_tablet(place, hand):
    page = hand.page
    place.destroy_the_chair()
    hand.page.locator(".next").click()
    hand.walk("bench.heel")
    _after_minutes(page, 6)
    until(lambda: _lamp(page)["direct"] == "offered", "the way past the node to be offered")
    waiting = hand.pending()
    _to_the_data_page(page)
    page.locator(".direct").click()
    until(lambda: _lamp(page) == {"state": "waiting", "pending": str(waiting), "direct": "failing"}, "that it failed")
    place.start("clinic")
    page.evaluate(KICK)
    until(lambda: hand.pending() == 0, "the clinic to be tried again by itself")
    assert sorted(place.stored()) == _written(hand)


def test_the_offer_holds_over_a_reload_and_a_page_of_the_clinic_itself_never_makes_it(place, hand, tablets):
    page = hand.page
    clinic = place.start("clinic")
    there = tablets("clinic").open(place.url("clinic") + "/chair")
    until(lambda: _lamp(there)["state"] == "sent", "the other tablet to be paired")
    place.chair.kill()
    until(lambda: page.evaluate("import('tm_state').then((page) => page.lamp.release.offlineReady)"), "offline-ready")
    _after_minutes(page, 6)
    until(lambda: _lamp(page)["direct"] == "offered", "the way past the node to be offered")
    page.reload()
    _after_minutes(page, 6)
    until(lambda: _lamp(page)["direct"] == "offered", "the same after the page was loaded again")
    clinic.kill()
    _after_minutes(there, 6)
    until(lambda: _away(there), "six minutes to have passed at the clinic's own page")
    assert _lamp(there)["direct"] == ""


def _away(page):
    """Whether the replica itself counts at least five minutes."""
    status = page.evaluate("import('tm_replica').then((replica) => replica.status().awaySince)")
    return status and page.evaluate("since => Date.now() - Date.parse(since) > 300000", status)


def _online(page):
    return page.locator(".lamp").get_attribute("data-online")


def test_a_tablet_that_reaches_nobody_is_carried_to_the_clinic_as_a_file(place, hand, tmp_path):
    page = hand.page
    place.destroy_the_chair()
    hand.page.locator(".next").click()
    hand.walk("bench.heel")
    picture = page.evaluate(PICTURE)
    _to_the_data_page(page)
    with page.expect_download() as download:
        page.locator(".save").click()
    file = tmp_path / "carried.json"
    download.value.save_as(file)
    for _ in range(2):
        command = [THREEMARK, "import", "--data", str(tmp_path / "clinic"), str(file)]
        subprocess.run(command, check=True, capture_output=True)
        assert sorted(place.stored()) == _written(hand)
        assert (tmp_path / "clinic" / "blobs" / picture["sha256"]).stat().st_size == picture["bytes"]
