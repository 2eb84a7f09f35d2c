"""A visit is judged by the document it was opened with, for ever."""

import pytest

from chairapp.case import case_of, entries_of
from chairapp.register import Register
from chairapp.sequence import digest, document, jaw_relation, override_of
from chairapp.visit import is_signed, visit_state
from sync.tiny_store import TinyStore

PLAIN = document(jaw_relation())
SCHOOL = override_of("[items.display.rest]\nband = [1, 4]")
TOO_LONG = {"display.rest": [3.5], "display.fv": "touches"}


def entries(sequence):
    return entries_of(case_of({"case": digest(sequence), "box": "7KQ4M2X9", "answers": TOO_LONG}), sequence)


def verdict(view):
    return view["verdict"]["steps"]["display"]["verdict"]


def test_state_and_worded_verdict_come_in_one_call():
    view = visit_state(PLAIN, entries(PLAIN))
    assert view["state"]["items"]["display.rest"]["value"] == 3.5
    [finding] = view["verdict"]["steps"]["display"]["findings"]
    assert finding["text"] == "The rim shows 3.5 mm at rest, more than 1 to 2 mm."


def test_staff_are_named_where_the_clinic_knows_them():
    wax = {"rim": "upper", "surface": "height", "stations": {"front": -1}}
    case = {"author": "clin-1", "answers": TOO_LONG, "adjustments": [wax]}
    view = visit_state(PLAIN, entries_of(case_of(case), PLAIN), "en", {"clin-1": "Dr Ada Fenn"})
    said = [finding["text"] for finding in view["verdict"]["steps"]["display"]["findings"]]
    assert said[0] == "Display at rest was read before the upper rim was changed (height) by Dr Ada Fenn at 09:01 UTC."


def test_a_visit_keeps_being_judged_by_the_document_it_was_opened_with(tmp_path):
    """The school's numbers come into force between two visits: neither verdict changes, then or later."""
    kept = {digest(doc): doc for doc in (PLAIN, SCHOOL)}
    store = TinyStore(tmp_path / "entries.jsonl")
    try:
        before, after = entries(PLAIN), entries(SCHOOL)
        store.add(before)
        store.add(after)
        register = Register(store, kept.get)
        assert verdict(register.view(before[0]["visit"])) == "off"
        assert verdict(register.view(after[0]["visit"])) == "fits"
    finally:
        store.close()


@pytest.mark.parametrize(
    ("made", "signed"),
    [
        ([], False),
        ([("ann", "clinician", True)], True),
        ([("ann", "clinician", False)], False),
        ([("sam", "supervised", True)], False),
        ([("ann", "supervisor", True)], False),
        ([("sam", "supervised", True), ("ann", "supervisor", True)], True),
        ([("sam", "supervised", True), ("ann", "clinician", True)], True),
        ([("sam", "supervised", False), ("ann", "supervisor", True)], False),
        ([("sam", "supervised", True), ("ann", "supervisor", False)], False),
        ([("sam", "supervised", True), ("sam", "supervisor", True)], False),
    ],
)
def test_a_visit_is_signed_by_a_clinician_or_by_a_supervised_one_and_a_supervisor(made, signed):
    rows = [{"author": author, "role": role, "valid": valid} for author, role, valid in made]
    assert is_signed({"signatures": rows}) is signed
