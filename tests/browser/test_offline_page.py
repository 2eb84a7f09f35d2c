"""The page with the network off: it opens, works and loses nothing, whatever the node does with its files."""

import pytest

from tests.browser.conftest import until_page
from tests.browser.stand_in_page import address, all_sent, ready_for_offline, started, tap


@pytest.fixture
def loaded(small_node, tablet, port):
    """The node, the tablet and a page that may lose the network from here on."""
    node = small_node(port)
    page = tablet.open(address(port))
    ready_for_offline(page)
    return node, tablet, page


def test_a_first_visit_pairs_the_tablet_and_keeps_the_whole_page(loaded):
    _, tablet, page = loaded
    assert page.evaluate("tm.status.paired")
    assert page.evaluate("navigator.serviceWorker.controller !== null")
    assert tablet.errors == []


def test_with_the_node_killed_and_the_network_off_the_page_reloads_and_takes_answers(loaded):
    node, tablet, page = loaded
    node.kill()
    tablet.context.set_offline(True)
    page.reload()
    started(page)
    tap(page, 3)
    page.reload()
    started(page)
    assert page.inner_text("#entries") == "3"


def test_the_page_is_never_reloaded_by_itself_while_the_node_goes_and_comes_back(loaded, small_node, port):
    node, _, page = loaded
    loads = []
    page.on("framenavigated", lambda frame: loads.append(frame.url))
    node.kill()
    tap(page)
    until_page(page, "tm.status.online === false")
    small_node(port)
    page.evaluate("tm.replica.kick()")
    all_sent(page)
    assert loads == []
    assert page.evaluate("sessionStorage.getItem('loads')") == "1"
    assert page.evaluate("document.querySelector('#popup').ariaHidden") == "true"


def test_a_tab_closed_with_the_network_off_opens_again_with_all_its_answers(loaded, port):
    node, tablet, page = loaded
    node.kill()
    tablet.context.set_offline(True)
    tap(page, 2)
    page.close()
    page = tablet.open(address(port))
    started(page)
    assert page.inner_text("#entries") == "2"
    tap(page)


def test_the_whole_browser_restarted_with_the_network_off_opens_the_page_with_all_its_answers(loaded, port):
    node, tablet, page = loaded
    tap(page, 2)
    node.kill()
    tablet.restart()
    tablet.context.set_offline(True)
    page = tablet.open(address(port))
    started(page)
    assert page.inner_text("#entries") == "2"
    page.evaluate("tm.judge.start()")
    until_page(page, "tm.judge.status().state === 'ready'")


@pytest.mark.parametrize("fault", ["garbled-page", "garbled-file", "cut-page"])
def test_a_release_delivered_half_leaves_the_old_one_in_place_until_it_comes_whole(loaded, small_node, port, fault):
    node, _, page = loaded
    node.kill()
    half = small_node(port, "--mark", "two", "--fault", fault)
    page.reload()
    started(page)
    tap(page)
    assert (page.inner_text("#mark"), page.evaluate("marked")) == ("", "")
    half.kill()
    small_node(port, "--mark", "two")
    page.reload()
    started(page)
    assert (page.inner_text("#mark"), page.evaluate("marked")) == ("two", "two")
    assert page.inner_text("#entries") == "1"


def test_a_new_release_waits_until_the_page_is_loaded_again(loaded, small_node, port):
    node, _, page = loaded
    node.kill()
    small_node(port, "--mark", "two")
    page.evaluate("navigator.serviceWorker.controller.postMessage('check')")
    until_page(page, "tm.release.status().newer")
    assert page.inner_text("#mark") == ""
    page.reload()
    started(page)
    assert page.inner_text("#mark") == "two"
    until_page(page, "tm.release.status().offlineReady && !tm.release.status().newer")


def test_files_that_went_missing_on_the_tablet_are_brought_again_at_the_next_load(loaded):
    node, tablet, page = loaded
    page.evaluate(DROP_FILES)
    page.reload()
    started(page)
    until_page(page, "caches.keys().then((names) => names.some((name) => name.startsWith('chair-release-')))")
    node.kill()
    tablet.context.set_offline(True)
    page.reload()
    started(page)


def test_with_its_files_cleared_and_no_network_the_tablet_says_to_connect_once_and_keeps_the_answers(
    loaded, small_node, port
):
    node, tablet, page = loaded
    tap(page, 2)
    node.kill()
    tablet.context.set_offline(True)
    page.evaluate(DROP_FILES)
    page.reload()
    assert page.inner_text("h1") == "Connect this tablet once"
    tablet.context.set_offline(False)
    small_node(port)
    page.get_by_role("link", name="Try again").click()
    started(page)
    assert page.inner_text("#entries") == "2"


def test_a_service_worker_that_is_taken_back_leaves_the_page_to_the_node_and_the_answers_where_they_are(
    loaded, small_node, port
):
    node, _, page = loaded
    tap(page)
    node.kill()
    small_node(port, "--retired")
    page.evaluate("navigator.serviceWorker.getRegistration('/chair').then((known) => known.update())")
    until_page(page, "navigator.serviceWorker.getRegistration('/chair').then((known) => known === undefined)")
    assert page.evaluate("caches.keys()") == []
    page.reload()
    started(page)
    assert page.inner_text("#entries") == "1"


def test_the_judge_runs_while_the_page_itself_may_evaluate_nothing(loaded):
    _, _, page = loaded
    page.evaluate("tm.judge.start()")
    until_page(page, "tm.judge.status().state === 'ready'")
    page.evaluate("document.body.append(Object.assign(document.createElement('script'), {text: 'window.sneaked = 1'}))")
    assert page.evaluate("window.sneaked") is None


DROP_FILES = "caches.keys().then((names) => Promise.all(names.map((name) => caches.delete(name))))"
