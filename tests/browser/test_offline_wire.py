"""What goes over the wire of a tablet: batches that fit and get through, packed; attachments; never in the way."""

import gzip
import hashlib
import json
import random

import pytest

from sync.border import BODY_MAX
from sync.entry import BYTES_MAX, canonical
from sync.tiny_store import TinyStore
from tests.browser.conftest import until, until_page
from tests.browser.small_node import REFUSED
from tests.browser.stand_in_page import (
    VISIT,
    add,
    address,
    all_sent,
    arrived,
    at_node,
    held,
    ready_for_offline,
    set_options,
    started,
)

QUICK = {"timeout": 2000, "retryMin": 50, "retryMax": 200, "poll": 300}
ADD_MANY = "drafts => tm.replica.addMany(drafts).then((made) => made.length)"
TIMED_TAPS = """async (count) => {
  const times = [];
  for (let n = 0; n < count; n += 1) {
    const before = Number(document.querySelector("#entries").textContent), began = performance.now();
    document.querySelector("#tap").click();
    while (Number(document.querySelector("#entries").textContent) === before)
      await new Promise((painted) => requestAnimationFrame(painted));
    times.push(performance.now() - began);
  }
  return times;
}"""


@pytest.fixture
def data(tmp_path):
    return tmp_path / "node"


@pytest.fixture
def page(small_node, tablet, port):
    small_node(port)
    page = tablet.open(address(port))
    ready_for_offline(page)
    set_options(page, **QUICK)
    page.reload()
    started(page)
    return page


@pytest.fixture
def node(small_node, page, processes):
    return processes.started[0]


@pytest.fixture
def bodies(page):
    """The bodies of POST /sync/entries as they go out: (bytes on the wire, encoding, entries)."""
    seen = []

    def look(route):
        packed, encoding = route.request.post_data_buffer, route.request.headers.get("content-encoding", "")
        plain = unpacked(route.request)
        seen.append((len(packed), len(plain), encoding, json.loads(plain)["entries"]))
        route.continue_()

    page.route("**/sync/entries", look)
    return seen


def unpacked(request):
    packed = request.post_data_buffer
    return gzip.decompress(packed) if request.headers.get("content-encoding") == "gzip" else packed


def waiting_in(request):
    return json.loads(unpacked(request))["waiting"]


def draft(value, visit=VISIT):
    return {"visit": visit, "kind": "note", "item": "seating", "value": value, "author": "ada"}


def large_notes(count):
    """Entries just below what one may have, of text that does not pack to nothing."""
    chance = random.Random(1)
    return [draft("".join(chance.choices("abcdefghijklmnopqrstuvwxyz ", k=BYTES_MAX - 600))) for _ in range(count)]


@pytest.mark.soak
def test_500_entries_of_16_kb_go_in_batches_that_fit_and_arrive_once_each(page, node, small_node, port, data, bodies):
    node.kill()
    for _ in range(5):
        assert page.evaluate(ADD_MANY, large_notes(100)) == 100
    told = []
    page.on("request", lambda asked: told.append(waiting_in(asked)) if asked.url.endswith("/sync/entries") else None)
    small_node(port)
    page.evaluate("tm.replica.kick()")
    until(lambda: page.evaluate("tm.replica.status().pending") == 0, "all to be sent", 120)
    assert told[0] > told[-1] == 0, "each batch says how many entries wait behind it"
    sent = [entry["id"] for _, _, _, entries in bodies for entry in entries]
    store = TinyStore(data, write=False)
    stored = [entry["id"] for entry in store.since(limit=1000).entries]
    assert sorted(stored) == sorted(held(page))
    assert len(stored) == len(set(sent)) == 500
    largest = max(plain for _, plain, _, _ in bodies)
    assert BODY_MAX // 4 < largest < BODY_MAX


def test_a_batch_is_packed_and_one_answer_is_not(page, node, small_node, port, data, bodies):
    node.kill()
    page.evaluate(ADD_MANY, [draft("The rim was short at the back.") for _ in range(200)])
    small_node(port)
    arrived(page, data)
    device = page.evaluate("tm.replica.device().then(({ device }) => device)")
    assert TinyStore(data, write=False).kept(f"waiting at {device}") == 0
    wire, plain, encoding, entries = max(bodies, key=lambda body: len(body[3]))
    assert (encoding, len(entries)) == ("gzip", 200)
    assert wire < plain / 4
    assert plain < 1.1 * sum(len(canonical(entry)) for entry in entries)
    bodies.clear()
    add(page)
    all_sent(page)
    assert [encoding for _, _, encoding, _ in bodies] == [""]


def test_where_the_browser_cannot_pack_bodies_go_as_they_are(page, node, small_node, port, data, bodies):
    node.kill()
    page.evaluate("{ delete globalThis.CompressionStream; }")
    page.evaluate(ADD_MANY, [draft("The rim was short at the back.") for _ in range(200)])
    small_node(port)
    arrived(page, data)
    assert {encoding for _, _, encoding, _ in bodies} == {""}


@pytest.mark.soak
def test_over_a_line_too_slow_for_a_whole_batch_smaller_ones_get_through(page, node, small_node, port, data):
    """A line on which 40 entries never get through in time."""
    counts = []

    def narrow(route):
        entries = json.loads(_plain(route.request))["entries"]
        counts.append(len(entries))
        if len(entries) <= 40:
            route.continue_()

    node.kill()
    page.evaluate(ADD_MANY, [draft(f"note {n}") for n in range(300)])
    page.route("**/sync/entries", narrow)
    small_node(port)
    page.evaluate("tm.replica.kick()")
    until(lambda: page.evaluate("tm.replica.status().pending") == 0, "all to get through in the end", 90)
    assert counts[0] == 300
    assert len(at_node(data)) == 300


def _plain(request):
    body = request.post_data_buffer
    return gzip.decompress(body) if request.headers.get("content-encoding") == "gzip" else body


def test_a_refused_entry_the_manager_has_settled_is_offered_no_more(page, node, small_node, port, data):
    node.kill()
    entry = add(page, value=REFUSED)
    refusing = small_node(port, "--fault", "refuses")
    all_sent(page)
    assert page.evaluate("tm.replica.status().refused") == 1
    refusing.kill()
    store = TinyStore(data)
    [record] = store.refused()
    store.settle(record.key)
    store.close()
    small_node(port, "--fault", "refuses")
    page.evaluate("{ const now = Date.now; Date.now = () => now() + 25 * 3600 * 1000; tm.replica.kick(); }")
    until_page(page, "tm.replica.status().refused === 0")
    assert page.evaluate("tm.replica.refused()") == []
    assert held(page) == [entry["id"]]
    assert at_node(data) == []


def test_a_node_that_takes_five_seconds_for_every_call_never_makes_a_tap_wait(page, node, small_node, port, data):
    """Stored and painted all the same: half of 30 taps within 100 ms, nine in ten within 500 ms, none in seconds."""
    node.kill()
    small_node(port, "--fault", "slow")
    page.evaluate("tm.replica.kick()")
    times = sorted(page.evaluate(TIMED_TAPS, 30))
    assert times[14] < 100, times
    assert times[26] < 500, times
    assert times[-1] < 2500, times
    assert page.evaluate("tm.replica.status().pending") >= 30


@pytest.mark.soak
def test_entries_get_through_a_node_that_takes_five_seconds_for_every_call(page, node, small_node, port, data):
    node.kill()
    set_options(page, **QUICK | {"timeout": 8000})
    page.reload()
    started(page)
    add(page)
    small_node(port, "--fault", "slow")
    arrived(page, data)


# ---- attachments

PUT = """({size, type}) => {
  const data = new Uint8Array(size).map((_, n) => n % 251);
  return tm.replica.putBlob(data, type).then((about) => about, ({code, field, why}) => ({code, field, why}));
}"""
GET = """(name) => tm.replica.getBlob(name).then(
  ({data, ...about}) => ({...about, first: [...new Uint8Array(data)].slice(0, 3)}))"""


def picture(size):
    return bytes(n % 251 for n in range(size))


def test_an_attachment_is_kept_hashed_and_arrives_after_its_entry(page, node, small_node, port, data):
    node.kill()
    about = page.evaluate(PUT, {"size": 70_000, "type": "image/png"})
    name = hashlib.sha256(picture(70_000)).hexdigest()
    assert about == {"sha256": name, "type": "image/png", "bytes": 70_000}
    add(page, kind="attachment", item="photo", value=about)
    assert page.evaluate("tm.replica.status().pending") == 2
    page.reload()
    started(page)
    assert page.evaluate("tm.replica.status().pending") == 2
    order = []
    page.on("request", lambda request: order.append(request.method) if request.method in ("POST", "PUT") else None)
    small_node(port)
    all_sent(page)
    assert (data / "blobs" / name).read_bytes() == picture(70_000)
    assert order.index("POST") < order.index("PUT")
    assert order.count("PUT") == 1


def test_an_attachment_of_2_mb_passes_and_a_larger_one_is_refused_at_once(page, data):
    about = page.evaluate(PUT, {"size": 2 * 1024 * 1024, "type": ""})
    assert about["type"] == "application/octet-stream"
    all_sent(page)
    assert (data / "blobs" / about["sha256"]).stat().st_size == 2 * 1024 * 1024
    wrong = page.evaluate(PUT, {"size": 2 * 1024 * 1024 + 1, "type": ""})
    assert (wrong["code"], wrong["field"]) == ("blob", "bytes")


def test_an_attachment_of_another_tablet_is_fetched_checked_and_kept(page, node, tablets, port, data):
    about = page.evaluate(PUT, {"size": 1000, "type": "image/png"})
    all_sent(page)
    other = tablets("other").open(address(port))
    ready_for_offline(other)
    assert other.evaluate(GET, about["sha256"])["first"] == [0, 1, 2]
    node.kill()
    assert other.evaluate(GET, about["sha256"])["bytes"] == 1000
    assert other.evaluate("tm.replica.status().pending") == 0


def test_bytes_that_are_not_those_asked_for_are_not_kept(page, node):
    name = hashlib.sha256(b"asked for").hexdigest()
    page.route(f"**/sync/blobs/{name}", lambda route: route.fulfill(body=b"others"))
    found = page.evaluate("name => tm.replica.getBlob(name).catch(({code, field}) => ({code, field}))", name)
    assert found == {"code": "blob", "field": "sha256"}
    page.unroute(f"**/sync/blobs/{name}")
    again = page.evaluate("name => tm.replica.getBlob(name).catch(({code, status}) => ({code, status}))", name)
    assert again == {"code": "refused", "status": 404}


def test_an_attachment_the_node_does_not_take_holds_up_nobody(page, node, small_node, port, data):
    bad = hashlib.sha256(picture(10)).hexdigest()
    page.route(
        f"**/sync/blobs/{bad}",
        lambda route: route.fulfill(status=422, json={"error": {"field": "sha256", "why": "spoilt", "do": ""}}),
    )
    for size in (10, 20):
        page.evaluate(PUT, {"size": size, "type": ""})
    add(page)
    arrived(page, data)
    assert (data / "blobs" / hashlib.sha256(picture(20)).hexdigest()).exists()


def test_a_node_that_lost_its_store_gets_attachments_again(page, node, small_node, port, data, tmp_path):
    about = page.evaluate(PUT, {"size": 500, "type": ""})
    add(page)
    arrived(page, data)
    node.kill()
    devices = (data / "devices.json").read_bytes()
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "devices.json").write_bytes(devices)
    small_node(port, data="other")
    page.evaluate("tm.replica.kick()")
    until(lambda: (tmp_path / "other" / "blobs" / about["sha256"]).exists(), "the attachment at the new store")


def test_a_saved_file_holds_the_attachments_made_here(page):
    about = page.evaluate(PUT, {"size": 20_000, "type": "image/png"})
    add(page)
    file = page.evaluate("tm.replica.everything()")
    [blob] = file["blobs"]
    assert {name: blob[name] for name in about} == about
    assert page.evaluate("text => atob(text).length", blob["base64"]) == 20_000
    assert len(file["entries"]) == 1
