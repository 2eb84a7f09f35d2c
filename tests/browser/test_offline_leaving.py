"""What a tablet lets go of: all of it when the clinic removed it, old visits when they are safe, no more than that."""

import json
import urllib.request

import pytest

from sync.access import FileDevices
from sync.tiny_store import TinyStore
from tests.browser.conftest import Tablet, until, until_page
from tests.browser.stand_in_page import VISIT, add, address, at_node, heard, held, tap
from tests.browser.test_offline_hop import QUICK

LONG_AGO_MS = 40 * 24 * 3600 * 1000


@pytest.fixture
def data(tmp_path):
    return tmp_path / "node"


@pytest.fixture(scope="module")
def tablet(playwright, tmp_path_factory):
    """One browser for all tests here: each has a port, so an origin, so a storage of its own."""
    tablet = Tablet(playwright, tmp_path_factory.mktemp("leaving") / "profile")
    options = json.dumps({**QUICK, "purgeEvery": 1})
    tablet.context.add_init_script(f"localStorage.setItem('stand-in', '{options}')")
    yield tablet
    tablet.close()


def paired(small_node, tablet, port, *options):
    node = small_node(port, *options)
    page = tablet.open(address(port))
    heard(page)
    return node, page


def remove(data, *, block=False):
    devices = FileDevices(data / "devices.json")
    assert devices.revoke(devices.list()[0].id, block=block)


def with_unsent(page, node):
    node.kill()
    tap(page, 3)
    picture = page.evaluate("tm.replica.putBlob(new Blob(['a picture']), 'image/jpeg').then(({sha256}) => sha256)")
    return held(page), picture


def test_a_removed_tablet_hands_in_what_it_holds_into_the_drawer_then_clears_itself(small_node, tablet, port, data):
    node, page = paired(small_node, tablet, port)
    tap(page)
    until_page(page, "tm.replica.status().pending === 0")
    ids, picture = with_unsent(page, node)
    remove(data)
    small_node(port)
    until_page(page, "tm.status.removed === 'cleared'")
    assert held(page) == []
    assert page.evaluate("tm.replica.device()") is None
    assert page.evaluate("tm.replica.document('clinic')") is None
    handed_in = {record.entry["id"] for record in TinyStore(data, write=False).refused()}
    assert handed_in | set(at_node(data)) == set(ids)
    assert list((data / "blobs").rglob(picture))

    page.reload()
    until_page(page, "tm.status.removed === 'cleared' && tm.status.lastError !== null")
    assert not page.evaluate("tm.status.paired"), "it pairs itself no more"
    page.evaluate("tm.replica.pair('Chair 2')")
    until_page(page, "tm.status.paired && tm.status.removed === null")


def test_a_blocked_tablet_keeps_what_it_could_not_hand_in_until_a_person_gives_it_up(small_node, tablet, port, data):
    node, page = paired(small_node, tablet, port)
    ids, _ = with_unsent(page, node)
    remove(data, block=True)
    small_node(port)
    until_page(page, "tm.status.removed === 'blocked'")
    page.evaluate("tm.replica.kick()")
    assert held(page) == ids
    assert page.evaluate("tm.status.pending") == len(ids) + 1

    page.evaluate("tm.replica.discard()")
    until_page(page, "tm.status.removed === 'cleared'")
    assert held(page) == []


def test_an_old_visit_goes_once_it_is_in_the_backup_and_comes_back_when_it_is_wanted(small_node, tablet, port, data):
    _, page = paired(small_node, tablet, port, "--finished")
    page.evaluate(f"{{ globalThis.rightly = Date.now; Date.now = () => rightly() - {LONG_AGO_MS}; }}")
    picture = page.evaluate("tm.replica.putBlob(new Blob(['a picture']), 'image/jpeg')")
    old = [add(page)["id"], add(page, kind="attachment", value=picture)["id"]]
    page.evaluate("{ Date.now = rightly; }")
    young = add(page, visit="01932b4e-0000-7000-8000-00000000beef")["id"]
    until(lambda: set(at_node(data)) == {*old, young}, "all of it at the node")
    page.evaluate("tm.replica.kick()")
    until_page(page, "tm.replica.status().pending === 0")
    until(lambda: (data / "blobs" / picture["sha256"]).exists(), "the picture at the node")
    assert set(held(page)) == {*old, young}, "not in a backup, so it stays"

    urllib.request.urlopen(urllib.request.Request(f"http://127.0.0.1:{port}/backed-up", method="POST")).close()
    page.evaluate("tm.replica.kick()")
    until(lambda: held(page) == [young], "the old visit to go and the young one to stay")
    assert page.evaluate("tm.replica.gone().then((all) => all.map(({visit}) => visit))") == [VISIT]
    assert page.evaluate("tm.replica.visits().then((all) => all.length)") == 1

    page.evaluate(f"tm.replica.bringBack('{VISIT}')")
    assert set(old) <= set(held(page))
    assert page.evaluate(f"tm.replica.getBlob('{picture['sha256']}').then(({{bytes}}) => bytes)") == 9


def test_where_pairing_takes_a_code_a_tablet_waits_for_one_and_asks_no_more_without(small_node, tablet, port):
    asked = []

    def answer(route):
        body = route.request.post_data_json
        asked.append(body.get("code"))
        if body.get("code") == "ABCD-1234":
            route.continue_()
        else:
            route.fulfill(
                status=403, json={"error": {"field": "code", "why": "no such code", "do": "ask for a new one"}}
            )

    small_node(port)
    tablet.context.route("**/pair", answer)
    try:
        page = tablet.open(address(port))
        until_page(page, "tm.status.needsCode")
        page.evaluate("tm.replica.kick()")
        until_page(page, "tm.status.lastError?.includes('not paired')")
        assert asked == [None]
        wrong = "tm.replica.pair('Chair 1', 'WRONG').then(() => '', ({message}) => message)"
        assert page.evaluate(wrong) == "no such code. ask for a new one."
        page.evaluate("tm.replica.pair('Chair 1', 'ABCD-1234')")
        until_page(page, "tm.status.paired && !tm.status.needsCode")
    finally:
        tablet.context.unroute("**/pair")
