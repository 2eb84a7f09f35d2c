"""The demo's invented visits: each ends as it says, and together they show the eight scenarios."""

import json
from pathlib import Path

import pytest

from chairapp.box.code import is_code
from chairapp.case import case_of, entries_of, judge_file
from chairapp.judge import judge, settle
from chairapp.sequence import document, jaw_relation
from chairapp.sequence.check import check_entry
from sync.entry import check_envelope

DOC = document(jaw_relation())
FILES = sorted((Path(__file__).parents[1] / "demo_cases").glob("*.json"))
STAFF = {"clin-1", "clin-2", "sup-1", "asst-1"}
raw = {file.stem: json.loads(file.read_text()) for file in FILES}
each = pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)


def entries(file):
    return entries_of(case_of(raw[file.stem]), DOC)


def test_there_are_eight_and_both_forms_are_used():
    assert len(FILES) == 8
    assert sum("entries" in case for case in raw.values()) >= 2
    assert sum("answers" in case for case in raw.values()) >= 2


@each
def test_a_case_ends_in_the_verdicts_it_says(file):
    steps = judge_file(str(file))["steps"]
    expected = raw[file.stem]["expect"]["steps"]
    assert {step: steps[step]["verdict"] for step in expected} == expected


@each
def test_a_case_shows_exactly_the_findings_it_says(file):
    steps = judge_file(str(file))["steps"]
    found = {finding["code"] for step in steps.values() for finding in step["findings"]}
    assert found == set(raw[file.stem]["expect"]["codes"])


@each
def test_every_finding_of_a_case_is_said(file):
    for step in judge_file(str(file))["steps"].values():
        for finding in step["findings"]:
            assert finding["text"].endswith(".")
            assert finding["advice"].endswith(".")
            assert "{" not in finding["text"] + finding["advice"]


@each
def test_every_entry_of_a_case_is_one_that_any_store_takes(file):
    for entry in entries(file):
        assert check_envelope(entry) is None
        assert check_entry(DOC, entry) is None


@each
def test_a_case_says_what_it_is_about_and_belongs_to_the_demo_clinic(file):
    case = raw[file.stem]
    assert case["about"].endswith(".")
    assert is_code(case["box"])
    assert case["chair"] in ("1", "2")
    assert {entry["author"] for entry in entries(file)} <= STAFF


def test_box_codes_differ():
    assert len({case["box"] for case in raw.values()}) == len(raw)


def test_some_visits_are_signed_and_ready_and_some_are_still_open():
    signed = {file.stem: settle(DOC, entries(file))["signatures"] for file in FILES}
    assert {name: [one["role"] for one in signed[name]] for name in signed if signed[name]} == {
        "01_all_fits": ["clinician"],
        "02_overclosed": ["supervised", "clinician"],
        "07_marks_too_close": ["clinician"],
    }
    assert all(one["valid"] for names in signed.values() for one in names)
    ready = [file.stem for file in FILES if judge(DOC, entries(file))["ready"]]
    assert ready == ["01_all_fits", "02_overclosed", "07_marks_too_close"]
