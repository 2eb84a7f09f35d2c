"""The judge in a real browser gives what it gives here, to the last digit."""

import ast
import json
import os
import random
from pathlib import Path

import pytest

import chairapp.judge
from chairapp.judge import judge, settle
from tests.judge.random_visits import random_visit
from tests.judge.visits import SEQUENCE, fitting

VISITS = int(os.environ.get("THREEMARK_PARITY", "2000"))
FILES = sorted(Path(chairapp.judge.__file__).parent.glob("*.py"))


@pytest.fixture(scope="module")
def browser_judge():
    from playwright.sync_api import sync_playwright

    from tests.judge.brython_page import BrythonJudge, chromium

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium())
        yield BrythonJudge(browser.new_page(), SEQUENCE)
        browser.close()


@pytest.mark.browser
@pytest.mark.parametrize("seed", [11, 12, 13, 14])
def test_random_visits_are_judged_alike_in_the_browser_and_here(browser_judge, seed):
    rng = random.Random(seed)
    for number in range(VISITS // 4):
        entries = random_visit(rng).entries
        assert browser_judge.ask("judge", entries) == as_json(judge(SEQUENCE, entries)), f"seed {seed}, visit {number}"


@pytest.mark.browser
def test_states_are_settled_alike_in_the_browser_and_here(browser_judge):
    rng = random.Random(4)
    for _ in range(50):
        entries = random_visit(rng).entries
        assert browser_judge.ask("settle", entries) == as_json(settle(SEQUENCE, entries))


@pytest.mark.browser
@pytest.mark.parametrize("value", ["2 cm", None, True, {"photo": 3}])
def test_odd_values_are_refused_alike_in_the_browser_and_here(browser_judge, value):
    visit = fitting()
    visit.add("reading", "display.rest", value)
    with pytest.raises(chairapp.judge.errors.InputError) as here:
        visit.judged()
    assert browser_judge.refusal(visit.entries) == [here.value.field, here.value.why]


def as_json(value):
    return json.loads(json.dumps(value))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_judge_imports_only_math_and_its_own(path):
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            assert [name.name for name in node.names] == ["math"]
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0
            assert node.module.startswith("chairapp.judge.")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_judge_uses_nothing_in_which_the_browser_differs(path):
    """No round, no builtin sum, no float made into text, no isinstance on numbers."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in ("round", "sum", "format", "repr"), node.lineno
            if node.func.id == "isinstance":
                assert "int" not in ast.dump(node.args[1])
                assert "float" not in ast.dump(node.args[1])
        assert not isinstance(node, ast.JoinedStr), "no f-strings at all"
