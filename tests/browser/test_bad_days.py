"""Days on which the tablet, its browser or the node lets the page down: nothing is lost, and the person is told."""

import json
import sys
from pathlib import Path

import httpx
import pytest

from chairapp.people.demo import DEMO_PIN
from tests.browser.chair import Chair
from tests.browser.conftest import until, until_page
from tests.browser.stand_in_page import VISIT, add, address, all_sent, heard, held, set_options
from tests.browser.test_walk import to

THREEMARK = str(Path(sys.executable).parent / "threemark")
VIEWPORT = {"width": 1024, "height": 768}
ROOM = 100_000
SIZES = [15_000, 1_000, 100, 1]
FILL = """async ([visit, sizes]) => {
  const replica = await import("tm_replica");
  for (const size of sizes) {
    try {
      for (let n = 0; n < 100; n += 1)
        await replica.add({ visit, kind: "note", item: "seating", value: "x".repeat(size), author: "clin-1" });
      throw new Error("there is room without end");
    } catch (error) {
      if (error.code !== "storage") throw error;
    }
  }
}"""
A_DAY_BACK = "{ const now = Date.now; Date.now = () => now() - 24 * 3600 * 1000; }"


def limit_storage(page, origin, **quota):
    """The browser's own limit, as DevTools sets it; without one the usual holds again."""
    page.context.new_cdp_session(page).send("Storage.overrideQuotaForOrigin", {"origin": origin, **quota})


def test_a_browser_that_lets_the_page_keep_nothing_is_told_and_takes_no_answer(clinic, tablets, tmp_path):
    """Site data blocked in the browser's own settings: IndexedDB, the caches and session storage all refuse."""
    settings = tmp_path / "profile-private" / "Default"
    settings.mkdir(parents=True)
    blocked = {"profile": {"default_content_setting_values": {"cookies": 2}}}
    (settings / "Preferences").write_text(json.dumps(blocked))
    page = tablets("private").open(f"{clinic}/chair")
    page.locator("main h1").wait_for()
    assert page.inner_text("main h1") == "Nothing can be kept in this browser"
    assert "private window" in page.inner_text("main")
    assert page.locator("input, .choice, .new-visit, .lamp").count() == 0


def test_a_full_tablet_says_so_keeps_what_was_typed_and_goes_on_when_there_is_room(clinic, tablets):
    tablet = tablets(viewport=VIEWPORT)
    hand = Chair(tablet.open(f"{clinic}/chair"), {})
    hand.sign_in("clin-1")
    visit = hand.open_visit("1")
    used = hand.page.evaluate("navigator.storage.estimate().then(({ usage }) => usage)")
    tablet.restart()  # the browser looks at the room anew
    page = tablet.context.new_page()
    limit_storage(page, clinic, quotaSize=used + ROOM)
    page.goto(f"{clinic}/chair#/walk/{visit}/display/display.rest")
    hand = Chair(page, {})
    page.locator('.question[data-item="display.rest"]').wait_for()
    page.evaluate(FILL, [visit, SIZES])

    hand.type("2.5")
    page.locator(".question .fault").wait_for()
    assert "This tablet has no room left. Free some space on it" in page.locator(".question .fault").inner_text()
    assert hand.field.input_value() == "2.5"
    assert page.locator(".reading").count() == 0

    limit_storage(page, clinic)
    page.locator(".keypad .take").click()
    until(lambda: page.locator(".reading").count() == 1, "the reading to be kept")


def test_on_a_full_tablet_who_signs_in_is_told_why_nobody_can(clinic, tablets):
    tablet = tablets(viewport=VIEWPORT)
    Chair(tablet.open(f"{clinic}/chair"), {}).sign_in("clin-1")
    tablet.restart()
    page = tablet.context.new_page()
    limit_storage(page, clinic, quotaSize=1)
    page.goto(f"{clinic}/chair")
    page.locator('[data-staff="clin-1"]').click()
    Chair(page, {}).type_pin(DEMO_PIN)
    page.get_by_text("This tablet has no room left, so nobody can sign in on it.").wait_for()


def test_with_the_clock_set_back_a_day_the_later_answer_counts_and_nobody_is_signed_out(hand):
    hand.choose("upright")
    hand.page.evaluate(A_DAY_BACK)
    hand.choose("reclined")
    to(hand, "display", "display.rest")
    hand.read(2.5)
    hand.withdraw_last_reading()
    until(lambda: hand.settled()["items"]["display.rest"]["readings"] == [], "the reading to be taken back")
    assert hand.settled()["items"]["seating.upright"]["value"] == "reclined"
    assert hand.author() == "clin-1"
    until(lambda: hand.pending() == 0, "the node to have taken all of it")


def test_two_tabs_in_one_visit_show_each_others_answers_and_one_locks_both(hand, clinic):
    other = Chair(hand.page.context.new_page(), {})
    other.page.goto(f"{clinic}/chair#/walk/{hand.route()[1]}/display/display.rest")
    other.page.locator('.question[data-item="display.rest"]').wait_for()
    to(hand, "display", "display.rest")
    hand.read(2)
    other.read(3)
    for tab in (hand, other):
        until(lambda tab=tab: tab.page.locator(".reading").count() == 2, "both readings in both tabs")
    until(lambda: hand.verdict() == other.verdict(), "both tabs to judge alike")
    other.sign_in("clin-2")
    until(lambda: hand.author() == "clin-2", "the first tab to know who is at the tablet now")


@pytest.mark.soak
def test_a_release_that_comes_while_a_visit_is_open_waits_and_says_so(processes, tablets, tmp_path, port):
    """The real page: another chair node, which it may call, makes another release."""
    url = f"http://127.0.0.1:{port}"
    command = [THREEMARK, "clinic", "--demo", "yes", "--data", str(tmp_path / "node"), "--port", str(port)]
    node = processes(command, url)
    hand = Chair(tablets(viewport=VIEWPORT).open(f"{url}/chair"), {})
    hand.sign_in("clin-1")
    hand.open_visit("1")
    hand.choose("upright")
    to(hand, "display", "display.rest")
    hand.field.fill("2.5")
    until_page(hand.page, "import('tm_release').then((release) => release.status().offlineReady)")
    asked = {"kind": "node", "name": "Chair node 2"}
    paired = httpx.post(f"{url}/pair", json=asked, trust_env=False).json()
    node.kill()
    addresses = tmp_path / "node" / "keys" / "addresses.json"
    addresses.write_text(json.dumps({paired["device"]: "https://chair-2.example"}))
    processes(command, url)
    hand.page.evaluate("navigator.serviceWorker.controller.postMessage('check')")
    until_page(hand.page, "import('tm_release').then((release) => release.status().newer)")
    assert hand.field.input_value() == "2.5", "the page was not loaded anew under somebody's hands"

    hand.page.evaluate("location.hash = '#/data'")
    hand.page.get_by_text("a newer one shows after a reload").wait_for()
    hand.page.go_back()
    hand.page.reload()
    hand.page.locator('.question[data-item="display.rest"]').wait_for()
    until(lambda: hand.field.input_value() == "2.5", "what was typed, on the new page")
    until_page(hand.page, "import('tm_release').then((release) => !release.status().newer)")
    assert hand.settled()["items"]["seating.upright"]["value"] == "upright"


@pytest.mark.soak
def test_a_node_reset_in_the_middle_of_a_download_gives_half_of_nothing_and_all_of_it_later(small_node, tablets, port):
    node = small_node(port)
    writer = tablets("writer").open(address(port))
    reader = tablets("reader").open(address(port))
    for page in (writer, reader):
        heard(page)
    set_options(reader, timeout=1000, retryMin=50, retryMax=200, poll=300)
    node.kill()
    for value in range(20):
        add(writer, visit=VISIT, value=value)
    cutting = small_node(port, "--fault", "cut-entries")
    writer.evaluate("tm.replica.kick()")
    all_sent(writer)
    reader.reload()
    until_page(reader, f"Boolean(globalThis.tm) && tm.status.moreAtNode.includes('{VISIT}')")
    assert held(reader) == []
    cutting.kill()
    small_node(port)
    until_page(reader, "tm.status.moreAtNode.length === 0")
    assert len(held(reader)) == 20
