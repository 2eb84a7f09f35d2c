"""The tablet never gives a verdict that the server would not give: the same entries, the same text, to the last digit.

2,000 random visits, 200 of them by another school's numbers; `make soak` shows two Pythons 20,000 (THREEMARK_PARITY).
"""

import json
import os

import pytest

from tests.browser.stand_in_page import address, started
from tests.parity import (
    SEQUENCE,
    assert_alike,
    batches,
    first_difference,
    other_python,
    plain,
    school_sequence,
    seen_by,
    seen_here,
    seen_on_a_tablet,
)

VISITS = int(os.environ.get("THREEMARK_PARITY", "2000"))

# Workers made as the page makes it: the addresses are those of the release that the node serves. Two for each document,
# for two cores.
WORKERS = """(documents) => {
  const { judge } = JSON.parse(window.document.getElementById("tm-config").textContent);
  const begin = (document) => new Promise((done, failed) => {
    const worker = new Worker(judge.worker), waiting = new Map();
    worker.onerror = (event) => failed(new Error(event.message));
    worker.onmessage = ({ data }) => {
      if (data.ask === undefined && data.error) failed(new Error(data.error));
      else if (data.ready) { worker.postMessage({ sequence: "doc", document }); done(ask); }
      else waiting.get(data.ask)(data.out ?? `refused: ${data.error}`);
    };
    const ask = (payload) => new Promise((told) => {
      waiting.set(waiting.size, told);
      worker.postMessage({ ask: waiting.size - 1, fn: "view", payload });
    });
    worker.postMessage({ boot: judge });
  });
  const pair = (document) => Promise.all([begin(document), begin(document)]);
  return Promise.all(documents.map(pair)).then((pairs) => { globalThis.pairs = pairs; });
}"""
ASK = "([which, payloads]) => Promise.all(payloads.map((payload, at) => pairs[which][at % 2](payload)))"


@pytest.fixture
def chair(small_node, tablet, port):
    small_node(port)
    page = tablet.open(address(port))
    started(page)
    return page


def test_the_browser_and_this_python_see_every_visit_alike(chair):
    chair.evaluate(WORKERS, [json.dumps(SEQUENCE), json.dumps(school_sequence())])
    for number, sequence, made in batches(VISITS, 50):
        payloads = [json.dumps({"sequence": "doc", "entries": entries}) for entries in made.values()]
        there = [text.removeprefix('{"out":')[:-1] for text in chair.evaluate(ASK, [number, payloads])]
        assert_alike(made, seen_on_a_tablet(sequence, made), there, f"the browser, by document {number}")


def test_another_python_and_this_one_see_every_visit_alike(tmp_path):
    other = other_python()
    if other is None:
        pytest.skip("no second Python at hand to compare with")
    command, version = other
    for number, sequence, made in batches(VISITS, 1000):
        there = seen_by(command, sequence, made, tmp_path)
        assert_alike(made, seen_here(sequence, made), there, f"Python {version}, by document {number}")


def test_a_difference_in_a_value_a_kind_or_the_order_of_keys_is_found_and_named():
    one = {"steps": {"lip": {"value": 1.5, "where": ["front"]}}}
    for other, words in [
        ({"steps": {"lip": {"value": 1.5000001, "where": ["front"]}}}, "view.steps.lip.value is 1.5 here"),
        ({"steps": {"lip": {"value": "1.5", "where": ["front"]}}}, "view.steps.lip.value"),
        ({"steps": {"lip": {"where": ["front"], "value": 1.5}}}, "view.steps.lip has keys"),
        ({"steps": {"lip": {"value": 1.5, "where": []}}}, "view.steps.lip.where is"),
    ]:
        assert words in first_difference(one, other)
    assert first_difference(one, json.loads(json.dumps(one))) is None
    assert plain('{"a": 400.0, "b": 0.1}') == plain('{"a": 400, "b": 0.1}') != plain('{"a": 400, "b": 0.10000001}')
