"""What an entry is on the tablet: its ids and clocks, its past, its bytes; and what cannot be one."""

import json
import random
import sys
from itertools import count, pairwise
from pathlib import Path

import pytest
import rfc8785

from sync.entry import check_envelope, frontier
from sync.seal import digest
from tests.browser.conftest import Processes, Tablet, free_port, until_page
from tests.browser.stand_in_page import VISIT, add, address, refusal, set_options, started

GOLDEN = json.loads((Path(__file__).parents[1] / "sync" / "golden_entries.json").read_text("utf-8"))["cases"]
UPRIGHT = {"kind": "answer", "item": "seating.upright", "author": "ada"}
DATABASES = count()


@pytest.fixture(scope="module")
def tablet_page(playwright, tmp_path_factory):
    folder, port = tmp_path_factory.mktemp("entries"), free_port()
    processes = Processes(folder)
    node = [sys.executable, "-m", "tests.browser.small_node", "--port", str(port), "--data", str(folder / "node")]
    processes(node, f"http://127.0.0.1:{port}/sw.js")
    tablet = Tablet(playwright, folder / "profile")
    page = tablet.open(address(port))
    started(page)
    yield page
    tablet.close()
    processes.kill()


@pytest.fixture
def page(tablet_page):
    """A page with a database of its own, paired."""
    set_options(tablet_page, database=f"test-{next(DATABASES)}")
    tablet_page.reload()
    started(tablet_page)
    until_page(tablet_page, "tm.replica.status().paired")
    return tablet_page


def test_the_golden_file_holds_entries_that_are_taken_and_entries_that_are_not():
    refused = [case["refused"] for case in GOLDEN]
    assert None in refused
    assert len(set(refused)) > 8


def test_every_golden_entry_is_taken_or_refused_by_the_same_field_for_the_same_reason_as_in_python(tablet_page):
    told = tablet_page.evaluate(
        """async (texts) => {
          const { canonical, checkEnvelope } = await import("tm_entry");
          return texts.map((text) => {
            const entry = JSON.parse(text);
            const wrong = checkEnvelope(entry);
            return [wrong, wrong ? null : canonical(entry)];
          });
        }""",
        [case["json"] for case in GOLDEN],
    )
    for case, (wrong, text) in zip(GOLDEN, told, strict=True):
        refusal = check_envelope(json.loads(case["json"]))
        assert wrong == (refusal and {"field": refusal.field, "why": refusal.why, "do": refusal.do}), case["name"]
        assert text == case["canonical"], case["name"]


def test_a_json_value_has_the_same_canonical_bytes_in_the_browser_as_in_python(tablet_page):
    values = [_value(random.Random(seed), 3) for seed in range(400)]
    texts = tablet_page.evaluate("texts => texts.map((text) => tm.replica.canonical(JSON.parse(text)))", _json(values))
    assert [text.encode() for text in texts] == [rfc8785.dumps(value) for value in values]


def test_a_set_of_entries_has_the_same_digest_whatever_their_order_as_in_python(page):
    entries = [add(page, value=value) for value in (71.0, 0.5, "\u00e9", None)]
    shuffled = entries[::-1]
    assert page.evaluate("list => tm.replica.digest(list)", shuffled) == digest(entries)


def test_the_frontier_of_any_past_is_the_one_python_finds(tablet_page):
    pasts = [_past(random.Random(seed)) for seed in range(100)]
    told = tablet_page.evaluate("pasts => pasts.map((past) => tm.replica.frontier(past))", pasts)
    assert told == [frontier(past, ["adjustment"]) for past in pasts]


def test_a_fresh_id_is_a_uuid_of_version_7_greater_than_the_one_before(page):
    ids = page.evaluate("Array.from({length: 5000}, () => tm.replica.uuid7())")
    assert all(a < b for a, b in pairwise(ids))
    assert all(id[14] == "7" and id[19] in "89ab" for id in ids)


def test_ids_and_clocks_go_on_rising_when_the_tablets_clock_steps_back(page):
    before = [add(page) for _ in range(2)]
    page.evaluate("{ const now = Date.now; Date.now = () => now() - 3600 * 1000; }")
    entries = [*before, *(add(page) for _ in range(3))]
    assert all(a["id"] < b["id"] and a["clock"] < b["clock"] for a, b in pairwise(entries))
    assert entries[-1]["at"] < entries[0]["at"]


def test_an_entry_names_the_newest_adjustments_of_its_visit_that_the_tablet_knew(page):
    wax = {"kind": "adjustment", "item": "wax", "value": {"rim": "upper"}}
    first, second = add(page, **wax), add(page, **wax)
    after = add(page)
    elsewhere = add(page, visit="01932b4e-0000-7000-8000-00000000beef")
    assert (first["seen"], second["seen"]) == ([], [first["id"]])
    assert (after["seen"], elsewhere["seen"]) == ([second["id"]], [])


def test_several_entries_are_kept_together_or_not_at_all(page):
    drafts = [{"visit": VISIT, "value": value, **UPRIGHT} for value in ("one", "x" * 20000)]
    assert (
        page.evaluate("drafts => tm.replica.addMany(drafts).then(() => 'kept', ({field}) => field)", drafts) == "entry"
    )
    assert own(page) == []
    assert page.evaluate("drafts => tm.replica.addMany(drafts).then((made) => made.length)", drafts[:1]) == 1


@pytest.mark.parametrize(
    ("draft", "field"),
    [
        ({"value": {"a": {"b": {"c": {"d": {"e": 1}}}}}}, "value"),
        ({"value": float("nan")}, "value"),
        ({"author": "no spaces please"}, "author"),
        ({"kind": "Answer"}, "kind"),
        ({"visit": "not-an-id"}, "visit"),
        ({"extra": 1}, "extra"),
    ],
)
def test_what_cannot_be_an_entry_is_refused_by_its_field_and_nothing_is_kept(page, draft, field):
    told = refusal(page, **draft)
    assert (told["code"], told["field"]) == ("envelope", field)
    assert own(page) == []


def test_texts_are_kept_in_normal_form(page):
    assert add(page, value="e\u0301")["value"] == "\u00e9"


def own(page):
    """Ids of the entries this tablet made; those of the tests before come from the node."""
    device = page.evaluate("tm.replica.device()")["device"]
    entries = page.evaluate("tm.replica.everything()")["entries"]
    return [entry["id"] for entry in entries if entry["device"] == device]


def _json(values):
    return [json.dumps(value) for value in values]


def _value(random, deeper):
    kinds = ["null", "true", "integer", "float", "text"] + (["list", "object"] if deeper else [])
    kind = random.choice(kinds)
    if kind in ("list", "object"):
        parts = [_value(random, deeper - 1) for _ in range(random.randrange(5))]
        return parts if kind == "list" else {_text(random) + str(n): part for n, part in enumerate(parts)}
    return {
        "null": None,
        "true": random.random() < 0.5,
        "integer": random.randint(-(2**53) + 1, 2**53 - 1),
        "float": random.uniform(-1, 1) * 10 ** random.randint(-30, 30),
        "text": _text(random),
    }[kind]


def _text(random):
    return "".join(random.choice('ab"\\/\n\t\x01é€😀\u2028') for _ in range(random.randrange(6)))


def _past(random):
    """Adjustments in the order they were made, each knowing some of those before it, a few of them not here."""
    ids = [f"{n:08d}-0000-7000-8000-000000000000" for n in range(8)]
    entries = [
        {"id": id, "kind": "adjustment", "seen": random.sample(ids[:n], random.randint(0, min(n, 2)))}
        for n, id in enumerate(ids)
    ]
    return [entry for entry in entries if random.random() < 0.8]
