"""The page with the network off: it opens, works and loses nothing, whatever the node does."""

import pytest

from tests.browser.conftest import free_port, until_page

ENTRIES = "document.querySelector('#entries')?.textContent"


@pytest.fixture
def port():
    return free_port()


@pytest.fixture
def loaded(small_node, tablet, port):
    """The node, the tablet and a page that may lose the network from here on."""
    node = small_node(port)
    page = tablet.open(f"http://127.0.0.1:{port}/chair")
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


def ready_for_offline(page):
    started(page)
    until_page(page, "tm.release.status().offlineReady && tm.status.paired && tm.status.lastHeard")


def started(page):
    until_page(page, "globalThis.tm?.seen.started && document.querySelector('#entries')")


def tap(page, times=1):
    before = int(page.inner_text("#entries"))
    for n in range(times):
        page.click("#tap")
        until_page(page, f"{ENTRIES} === '{before + n + 1}'")
