"""A value erased at the clinic is erased on the tablet that wrote it, and tablet and node agree again."""

import json

from sync.entry import Stamper, canonical
from sync.erased import digest_of_value, make
from sync.tiny_store import TinyStore
from tests.browser.conftest import until_page
from tests.browser.stand_in_page import VISIT, add, address, all_sent, heard, set_options, started

PUT = "(size) => tm.replica.putBlob(new Uint8Array(size), 'image/png')"
SECRET = "Mrs Example, 12 Invented Street"


def test_a_value_erased_at_the_node_is_gone_from_the_tablet_and_the_visit_is_whole_again(
    small_node, tablet, port, tmp_path
):
    node = small_node(port)
    page = tablet.open(address(port))
    heard(page)
    set_options(page, timeout=400, retryMin=50, retryMax=200, poll=300)
    page.reload()
    started(page)
    add(page, kind="note", item="seating", value="kept")
    entry = add(page, kind="note", item="seating", value=SECRET)
    twice, once = (page.evaluate(PUT, size) for size in (70_000, 80_000))
    photos = [add(page, kind="attachment", item="photo", value=about) for about in (twice, twice, once)]
    all_sent(page)
    node.kill()
    store = TinyStore(tmp_path / "node")
    clinic = Stamper("clinic")
    erasures = [make(clinic, gone, "entered for somebody else", "mgr-1") for gone in (photos[0], photos[2], entry)]
    assert len(store.add(erasures).new) == 3
    store.close()
    small_node(port)
    erased = "list.filter(({kind}) => kind === 'erasure').length === 3"
    until_page(page, f"tm.replica.entries({VISIT!r}).then((list) => {erased})")
    held = {row["id"]: row for row in page.evaluate(f"tm.replica.entries({VISIT!r})")}
    assert held[entry["id"]] == {**entry, "value": {"erased": digest_of_value(canonical(entry))}}
    assert len(held) == 8
    everything = page.evaluate("tm.replica.everything()")
    assert SECRET not in json.dumps(everything)
    assert [blob["sha256"] for blob in everything["blobs"]] == [twice["sha256"]], "another entry names that one"
    until_page(page, "tm.replica.status().moreAtNode.length === 0")
    page.reload()
    heard(page)
    assert page.evaluate("tm.replica.status().moreAtNode") == []
    assert page.evaluate("tm.replica.status().refused") == 0
