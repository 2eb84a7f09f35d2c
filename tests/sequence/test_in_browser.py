"""The tablet's own worker, in a real browser, says word for word what the server says."""

import json
import random
from pathlib import Path

import pytest

from chairapp.case import case_of, entries_of
from chairapp.sequence import document, jaw_relation
from chairapp.sequence.check import check_entry
from chairapp.sequence.view import view
from chairapp.tablet.bundle import brython, bundle
from tests.judge.random_visits import random_visit
from tests.sequence.test_check import BAD, GOOD

pytestmark = pytest.mark.browser

DOC = document(jaw_relation())
ROOT = Path(__file__).parents[2]
WORKER = (ROOT / "chairapp" / "tablet" / "judge_worker.js").read_text("utf-8")
CASES = sorted((ROOT / "demo_cases").glob("*.json"))
PEOPLE = {"clin-1": "Dr Ada Fenn"}

BOOT = """document => new Promise((done, failed) => {
  const worker = new Worker("/worker.js"), waiting = {};
  worker.onerror = (event) => failed(new Error(event.message));
  worker.onmessage = ({ data }) => {
    if (data.ready) { worker.postMessage({ sequence: "doc", document }); done(); }
    else if (data.ask === undefined) failed(new Error(data.error));
    else waiting[data.ask](data);
  };
  let asked = 0;
  self.ask = (fn, payload) => new Promise((told) => {
    waiting[++asked] = told;
    worker.postMessage({ ask: asked, fn, payload });
  });
  worker.postMessage({ boot: { brython: "/brython.js", bundle: "/bundle.js" } });
})"""


@pytest.fixture(scope="module")
def ask(browser):
    page = browser.new_page()
    page.route("**/*", _serve)
    page.goto("http://localhost/")
    page.evaluate(BOOT, json.dumps(DOC))

    def asked(fn, **given):
        payload = json.dumps({"sequence": "doc", **given})
        answer = page.evaluate("([fn, payload]) => self.ask(fn, payload)", [fn, payload])
        return json.loads(answer["out"])["out"]

    yield asked
    page.close()


def _serve(route):
    bodies = {"worker.js": WORKER, "brython.js": brython(), "bundle.js": bundle()}
    body = bodies.get(route.request.url.rsplit("/", 1)[1])
    kind = "text/javascript" if body else "text/html"
    route.fulfill(body=body or "<!doctype html>", content_type=kind)


def seen(entries, people=None, language="en"):
    """What the server sees, without the entries, which the page has."""
    here = view(DOC, entries, language, people)
    del here["state"]["entries"]
    return as_json(here)


def as_json(value):
    return json.loads(json.dumps(value))


def is_json(entry):
    try:
        return len(json.dumps(entry, allow_nan=False)) < 400
    except ValueError:
        return False


@pytest.mark.parametrize("file", CASES, ids=lambda file: file.stem)
def test_a_demo_visit_is_seen_alike(ask, file):
    entries = entries_of(case_of(json.loads(file.read_text())), DOC)
    for language in ("en", "es"):
        assert ask("view", entries=entries, language=language, people=PEOPLE) == seen(entries, PEOPLE, language)


def test_random_visits_are_seen_alike(ask):
    rng = random.Random(11)
    for number in range(150):
        entries, language = random_visit(rng).entries, ("en", "es")[number % 2]
        here = seen(entries, language=language)
        assert ask("view", entries=entries, language=language) == here, f"seed 11, visit {number}, {language}"


def test_entries_are_refused_alike(ask):
    entries = [entry for entry in [*GOOD, *[bad for bad, _, _ in BAD]] if is_json(entry)]
    assert len(entries) > 80
    for number, entry in enumerate(entries):
        language = ("en", "es")[number % 2]
        assert ask("check", entry=entry, language=language) == check_entry(DOC, entry, language), entry
