"""The judge on the tablet gives what the server gives, and no question stays without an answer."""

import json
import sys
from pathlib import Path

import pytest

from chairapp.case import entries_of, read_case
from chairapp.sequence.check import check_entry
from chairapp.sequence.view import to_sign
from tests.browser.conftest import Processes, Tablet, free_port, until_page
from tests.browser.small_node import SEQUENCE
from tests.browser.stand_in_page import VISIT, address, started
from tests.parity import tablet_view

CASES = sorted((Path(__file__).parents[2] / "demo_cases").glob("*.json"))
VIEW_OF = "tm.judge.view(visit, sequence, "
WHY_NOT = ", 'en').then(() => null, ({code, message}) => [code, message])"
PEOPLE = {"ada": "Ada Invented"}


@pytest.fixture(scope="module")
def page(playwright, tmp_path_factory):
    """The stand-in page with the sequence document at hand as `sequence`."""
    folder, port = tmp_path_factory.mktemp("judge"), free_port()
    processes = Processes(folder)
    node = [sys.executable, "-m", "tests.browser.small_node", "--port", str(port), "--data", str(folder / "node")]
    processes(node, f"http://127.0.0.1:{port}/sw.js")
    tablet = Tablet(playwright, folder / "profile")
    page = tablet.open(address(port))
    started(page)
    page.evaluate("document => { globalThis.sequence = document; }", SEQUENCE)
    yield page
    tablet.close()
    processes.kill()


@pytest.fixture
def broken(page):
    """The page with a judge whose file cannot be had, and its own judge back afterwards."""
    page.reload()
    started(page)
    page.evaluate("document => { globalThis.sequence = document; }", SEQUENCE)
    page.evaluate(
        """() => {
          const holder = document.querySelector("#tm-config");
          const config = JSON.parse(holder.textContent);
          config.judge.bundle = "/chair/files/none/judge_bundle.js";
          holder.textContent = JSON.stringify(config);
        }"""
    )
    yield page
    page.reload()
    started(page)
    page.evaluate("document => { globalThis.sequence = document; }", SEQUENCE)


def visit_of(path):
    return entries_of(read_case(str(path)), SEQUENCE)


def test_there_are_visits_to_judge():
    assert len(CASES) >= 8


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_a_visit_is_judged_on_the_tablet_as_on_the_server(page, path):
    entries = visit_of(path)
    told = page.evaluate(
        "([visit, entries, people]) => tm.judge.view(visit, sequence, entries, 'en', people).then(JSON.stringify)",
        [VISIT, entries, PEOPLE],
    )
    assert json.loads(told) == json.loads(json.dumps(tablet_view(SEQUENCE, entries, "en", PEOPLE)))


def test_what_a_signature_covers_is_the_same_on_the_tablet_as_on_the_server(page):
    entries = visit_of(CASES[0])
    told = page.evaluate("entries => tm.judge.toSign(sequence, entries).then(JSON.stringify)", entries)
    assert json.loads(told) == json.loads(json.dumps(to_sign(SEQUENCE, entries)))


@pytest.mark.parametrize(
    ("item", "value"),
    [
        ("display.rest", 1.5),
        ("display.rest", "2 cm"),
        ("display.rest", 700),
        ("seating.upright", "sideways"),
        ("no.such", 1),
    ],
)
def test_what_was_typed_is_checked_on_the_tablet_as_on_the_server(page, item, value):
    entry = {"kind": "reading" if item != "seating.upright" else "answer", "item": item, "value": value, "of": None}
    assert page.evaluate("entry => tm.judge.check(sequence, entry)", entry) == check_entry(SEQUENCE, entry)


def test_views_of_one_visit_asked_at_once_are_judged_twice_at_most_and_all_answered(page):
    entries = visit_of(CASES[0])
    counts = page.evaluate(
        """async ([visit, entries]) => {
          const sent = [];
          const post = Worker.prototype.postMessage;
          Worker.prototype.postMessage = function (message) { sent.push(message); return post.call(this, message); };
          const views = [1, 2, 3, 4, 5].map((n) => tm.judge.view(visit, sequence, entries.slice(0, n * 10), "en"));
          const answers = await Promise.all(views);
          Worker.prototype.postMessage = post;
          return [sent.filter((message) => message.ask).length, answers.map((answer) => JSON.stringify(answer))];
        }""",
        [VISIT, entries],
    )
    asked, answers = counts
    assert asked == 2
    assert json.loads(answers[-1]) == json.loads(json.dumps(tablet_view(SEQUENCE, entries[:50], "en")))
    assert len(set(answers[1:])) == 1


def test_a_worker_that_dies_is_begun_again_and_the_question_is_answered_all_the_same(page):
    until_page(page, "tm.judge.start() || tm.judge.status().state === 'ready'")
    assert page.evaluate(
        """async ([visit, entries]) => {
          const post = Worker.prototype.postMessage;
          let died = false;
          Worker.prototype.postMessage = function (message) {
            if (!message.ask || died) return post.call(this, message);
            died = true;
            this.dispatchEvent(new ErrorEvent("error", { message: "killed on order" }));
          };
          const { verdict } = await tm.judge.view(visit, sequence, entries, "en");
          Worker.prototype.postMessage = post;
          return died && "steps" in verdict;
        }""",
        [VISIT, visit_of(CASES[0])],
    )


def test_a_judge_that_cannot_start_says_so_in_plain_words_and_rejects_every_question(broken):
    told = broken.evaluate(
        "visit => tm.judge.view(visit, sequence, [], 'en').then(() => null, ({code, message}) => [code, message])",
        VISIT,
    )
    assert told[0] == "failed"
    assert told[1].startswith("The judge has stopped on this tablet. Your answers are kept")
    assert broken.evaluate("tm.judge.status()") == {"state": "failed", "message": told[1]}


def test_entries_of_the_wrong_shape_are_refused_with_the_judges_own_words(page):
    code, message = page.evaluate(f"visit => {VIEW_OF}[{{}}]{WHY_NOT}", VISIT)
    assert code == "input"
    assert message
