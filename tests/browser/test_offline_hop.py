"""What was kept on the tablet reaches the node exactly once, whatever node and line do; nothing is ever lost."""

import json
import shutil

import pytest

from sync.tiny_store import TinyStore
from tests.browser.conftest import Tablet, silent_server, until, until_page
from tests.browser.small_node import REFUSED, SEQUENCE
from tests.browser.stand_in_page import (
    VISIT,
    add,
    address,
    all_sent,
    arrived,
    at_node,
    downloaded,
    heard,
    held,
    refusal,
    started,
    tap,
)
from tests.sync.conftest import Maker

QUICK = {"timeout": 400, "retryMin": 50, "retryMax": 200, "poll": 300}
UPRIGHT = {"kind": "answer", "item": "seating.upright", "author": "ada"}


@pytest.fixture
def data(tmp_path):
    """The folder of the small node's store."""
    return tmp_path / "node"


@pytest.fixture(scope="module")
def one_browser(playwright, tmp_path_factory):
    tablet = Tablet(playwright, tmp_path_factory.mktemp("hop") / "profile")
    tablet.context.add_init_script(f"localStorage.setItem('stand-in', '{json.dumps(QUICK)}')")
    yield tablet
    tablet.close()


@pytest.fixture
def tablet(one_browser):
    """One browser serves all tests here: each has a port, so an origin, so a storage of its own."""
    yield one_browser
    for page in one_browser.context.pages[1:]:
        page.close()


@pytest.fixture
def page(small_node, tablet, port):
    """A paired tablet's page with its node running; tries follow each other quickly."""
    small_node(port)
    page = tablet.open(address(port))
    heard(page)
    return page


@pytest.fixture
def node(small_node, page, processes):
    """The node behind `page`."""
    return processes.started[0]


def test_entries_kept_while_the_node_was_down_are_at_its_fresh_process_exactly_once(page, node, small_node, port, data):
    node.kill()
    tap(page, 5)
    small_node(port)
    arrived(page, data)
    assert len(at_node(data)) == 5


def test_a_node_that_stores_and_dies_before_it_answers_gets_nothing_twice(page, node, small_node, port, data):
    node.kill()
    dying = small_node(port, "--fault", "die-after-storing")
    tap(page, 3)
    until(lambda: dying.dead, "the node to die in the middle of an answer")
    assert at_node(data)
    assert page.evaluate("tm.replica.status().pending") > 0
    small_node(port)
    arrived(page, data)
    assert len(at_node(data)) == 3


def test_a_node_that_accepts_and_never_answers_holds_nothing_up(page, node, small_node, port, data):
    node.kill()
    with silent_server(port) as heard:
        tap(page, 3)
        until(lambda: sum(b"POST /sync/entries" in request for request in heard) >= 2, "a second try")
        tap(page, 3)
        until_page(page, "tm.status.online === false && tm.status.pending === 6")
    small_node(port)
    arrived(page, data)
    assert len(at_node(data)) == 6


def test_only_what_the_node_says_it_has_stored_is_no_longer_sent(page, node, data):
    """A node that answers well and names one entry of four: the other three stay in the outbox and go again."""
    answers, epoch = [], TinyStore(data, write=False).epoch

    def half(route):
        answers.append([entry["id"] for entry in route.request.post_data_json["entries"]])
        head = {"epoch": epoch, "position": len(answers), "hash": "0" * 64}
        answer = {"stored": answers[-1][:1], "refused": [], "settled": [], "head": head, "epoch": epoch}
        route.fulfill(json=answer, headers={"Threemark-Protocol": "1"})

    node.kill()
    tap(page, 4)
    page.route("**/sync/entries", half)
    page.evaluate("tm.replica.kick()")
    # Routes are served while Playwright is spoken to.
    until(lambda: page.evaluate("true") and len(answers) > 1, "a second try")
    assert answers[1] == answers[0][1:]
    assert "did not say that it keeps everything" in page.evaluate("tm.status.lastError")


def test_a_visit_that_could_not_be_fetched_is_counted_as_more_at_the_node(page, tablets, port):
    other = tablets("other").open(address(port))
    heard(other)
    other.context.route("**/sync/entries?*", lambda route: route.abort())
    add(page, visit=VISIT)
    all_sent(page)
    other.evaluate("tm.replica.kick()")
    until_page(other, f"tm.replica.status().moreAtNode.includes('{VISIT}')")
    other.context.unroute("**/sync/entries?*")
    other.evaluate("tm.replica.kick()")
    until_page(other, "tm.replica.status().moreAtNode.length === 0")
    assert len(held(other)) == 1


def test_two_tabs_that_add_at_once_lose_nothing_and_never_take_the_same_id_or_clock(page, tablet, port, data):
    other = tablet.open(address(port))
    started(other)
    start = "globalThis.adding = Promise.all(Array.from({length: 40}, () => tm.replica.add(draft))).then(() => true)"
    for tab in (page, other):
        tab.evaluate(f"draft => {{ {start} }}", {"visit": VISIT, "value": "upright", **UPRIGHT})
    for tab in (page, other):
        assert tab.evaluate("adding")
    entries = page.evaluate("visit => tm.replica.entries(visit)", VISIT)
    assert len({entry["id"] for entry in entries}) == 80
    assert len({tuple(entry["clock"]) for entry in entries}) == 80
    assert [entry["id"] for entry in entries] == sorted(entry["id"] for entry in entries)
    arrived(page, data)


def test_an_entry_of_one_tab_is_heard_in_the_other(page, tablet, port):
    other = tablet.open(address(port))
    started(other)
    tap(page)
    until_page(other, "document.querySelector('#entries').textContent === '1'")


def test_a_refused_entry_stays_on_the_tablet_with_the_nodes_words_and_blocks_nobody(page, node, small_node, port, data):
    node.kill()
    add(page)
    wrong = add(page, value=REFUSED)
    add(page)
    small_node(port, "--fault", "refuses")
    all_sent(page)
    assert len(at_node(data)) == 2
    (refused,) = page.evaluate("tm.replica.refused()")
    assert (refused["entry"]["id"], refused["field"], refused["why"]) == (wrong["id"], "value", "this value is refused")
    assert page.evaluate("tm.replica.status().refused") == 1
    assert len(held(page)) == 3


def test_a_refused_entry_is_offered_again_the_next_day(page, node, small_node, port, data):
    node.kill()
    add(page, value=REFUSED)
    refusing = small_node(port, "--fault", "refuses")
    all_sent(page)
    refusing.kill()
    small_node(port)
    page.evaluate("{ const now = Date.now; Date.now = () => now() + 25 * 3600 * 1000; tm.replica.kick(); }")
    until_page(page, "tm.replica.status().refused === 0")
    arrived(page, data)


def test_an_entry_that_makes_the_node_take_the_batch_for_nonsense_is_found_and_the_others_go_through(
    page, node, small_node, port, data
):
    node.kill()
    for value in ("one", "two", REFUSED, "four", "five"):
        add(page, value=value)
    small_node(port, "--fault", "no-batch")
    all_sent(page)
    assert len(at_node(data)) == 4
    (refused,) = page.evaluate("tm.replica.refused()")
    assert (refused["entry"]["value"], refused["why"]) == (REFUSED, "this is not a batch.")


def test_a_tablet_whose_date_was_years_ahead_is_heard_again_as_soon_as_it_is_set_right(
    page, node, small_node, port, data
):
    node.kill()
    page.evaluate("{ globalThis.rightly = Date.now; Date.now = () => rightly() + 2 * 366 * 24 * 3600 * 1000; }")
    ahead = add(page)
    page.evaluate("{ Date.now = rightly; }")
    right = add(page)
    small_node(port)
    all_sent(page)
    (refused,) = page.evaluate("tm.replica.refused()")
    assert (refused["entry"]["id"], refused["field"]) == (ahead["id"], "clock")
    assert at_node(data) == [right["id"]]
    assert right["id"] > ahead["id"]


def test_a_node_that_no_longer_knows_the_tablet_costs_no_entry(page, node, small_node, port, data):
    node.kill()
    tap(page, 2)
    (data / "devices.json").unlink()
    small_node(port)
    until_page(page, "tm.status.unauthorized")
    assert page.evaluate("tm.replica.status().pending") == 2
    page.evaluate("tm.replica.pair('Chair 2')")
    until_page(page, "!tm.status.unauthorized && tm.replica.status().pending === 0")
    drawer = (data / "refused.jsonl").read_text("utf-8")
    assert all(id in drawer for id in held(page))
    add(page)
    all_sent(page)
    assert len(at_node(data)) == 1


def test_a_node_with_another_store_is_offered_everything_again(page, node, small_node, port, data, tmp_path):
    tap(page, 3)
    all_sent(page)
    node.kill()
    (tmp_path / "other").mkdir()
    shutil.copy(data / "devices.json", tmp_path / "other")
    small_node(port, data="other")
    page.evaluate("tm.replica.kick()")
    until(lambda: (tmp_path / "other" / "entries.jsonl").exists(), "the other store")
    arrived(page, tmp_path / "other")


def test_a_node_that_lost_what_it_acknowledged_gets_it_back_and_the_tablet_raises_the_alarm(
    page, node, small_node, port, data, tmp_path
):
    tap(page)
    all_sent(page)
    node.stop()
    shutil.copytree(data, tmp_path / "backup")
    later = small_node(port)
    tap(page, 2)
    all_sent(page)
    later.stop()
    shutil.rmtree(data)
    shutil.copytree(tmp_path / "backup", data)
    small_node(port)
    page.evaluate("tm.replica.kick()")
    until_page(page, "tm.status.alarm !== null")
    arrived(page, data)
    page.reload()
    started(page)
    until_page(page, "tm.replica.status().alarm !== null")
    page.evaluate("tm.replica.dismissAlarm()")
    page.reload()
    started(page)
    assert page.evaluate("tm.replica.status().alarm") is None


def test_a_node_that_lost_something_and_has_gone_on_further_than_it_was_is_noticed_by_its_chain(
    page, node, small_node, port, data, tmp_path
):
    """An old image of its disk, soon filled by others: its position alone says nothing."""
    tap(page)
    all_sent(page)
    node.stop()
    shutil.copytree(data, tmp_path / "image")
    later = small_node(port)
    tap(page, 2)
    all_sent(page)
    later.stop()
    shutil.rmtree(data)
    shutil.copytree(tmp_path / "image", data)
    store = TinyStore(data)
    store.add(Maker("tablet-9").readings(12, visit=VISIT))
    store.close()
    small_node(port)
    page.evaluate("tm.replica.kick()")
    until_page(page, "tm.status.alarm !== null")
    until(lambda: set(held(page)) <= set(at_node(data)), "the node to hold again what it had acknowledged")


def test_what_another_tablet_wrote_comes_by_itself_and_is_not_written_again(page, tablets, port, data):
    other = tablets("other").open(address(port))
    heard(other)
    mine = add(page, visit=VISIT)
    all_sent(page)
    other.evaluate("tm.replica.kick()")
    until_page(other, f"tm.replica.entries('{VISIT}').then((list) => list.length === 1)")
    theirs = add(other, visit=VISIT)
    assert theirs["clock"] > mine["clock"]
    all_sent(other)
    page.evaluate("tm.replica.kick()")
    until_page(page, f"tm.replica.entries('{VISIT}').then((list) => list.length === 2)")
    assert page.evaluate("tm.replica.status().moreAtNode") == []
    assert at_node(data) == [mine["id"], theirs["id"]]


def test_a_tablet_not_paired_yet_says_so_and_keeps_nothing_under_no_name(small_node, tablet, port):
    node = small_node(port)
    tablet.context.route("**/pair", lambda route: route.abort())
    page = tablet.open(address(port))
    until_page(page, "Boolean(globalThis.tm?.seen.started)")
    assert not page.evaluate("tm.replica.status().paired")
    assert refusal(page, value="upright")["code"] == "not_paired"
    tablet.context.unroute("**/pair")
    page.evaluate("tm.replica.kick()")
    until_page(page, "tm.replica.status().paired")
    add(page)
    assert not node.dead


def test_the_sequence_comes_with_the_clinic_document_and_stays_without_the_node(page, node):
    digest = page.evaluate("tm.replica.document('clinic')")["sequence"]
    node.kill()
    page.reload()
    started(page)
    assert json.loads(page.evaluate("name => tm.replica.document(name).then(JSON.stringify)", digest)) == SEQUENCE
    assert page.evaluate("tm.replica.document('ab'.repeat(32))") is None


def test_a_sequence_that_is_not_the_one_asked_for_is_not_kept(small_node, tablet, port):
    small_node(port, "--fault", "wrong-sequence")
    page = tablet.open(address(port))
    until_page(page, "Boolean(globalThis.tm?.status.lastError?.includes('not the one asked for'))")
    digest = page.evaluate("tm.replica.document('clinic')")["sequence"]
    assert page.evaluate("name => tm.replica.document(name)", digest) is None


def test_everything_on_the_tablet_can_be_saved_to_a_file(page, node):
    node.kill()
    tap(page, 2)
    saved = downloaded(page, "tm.replica.saveToFile()")
    assert [entry["id"] for entry in saved["entries"]] == held(page)
    assert sorted(saved["outbox"]) == sorted(held(page))
    assert saved["device"]["letter"] == "K"
