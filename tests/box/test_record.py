"""What the box says of its visit: which label it has, what is packed, and when a label cannot be made."""

import pytest

from chairapp.box.desk import Desk
from chairapp.box.errors import CodeError, NoSignature, PackingError
from chairapp.register import NoSequence, Register
from tests.box.conftest import CLINIC, later, only


def test_a_signed_and_packed_visit_says_what_is_in_the_box(desk, add):
    entries = add("01_all_fits")
    record = only(desk.find(entries[0]["value"]["box"])).record
    assert record.signed
    assert record.packed == ("upper rim", "lower rim", "jaw relation record", "face bow")
    assert record.disinfected == "intermediate level, 10 min"
    assert record.disinfected_by == "asst-1"
    assert record.on == "none"


def test_disinfection_needs_the_agent_and_the_minutes(desk, add, shelf):
    entries = add("01_all_fits")
    shelf.add([later(entries, kind="answer", item="packing.minutes", value=None)])
    assert only(desk.queue()).record.disinfected is None


def test_a_printed_label_is_current_until_the_packing_changes(desk, add, shelf):
    entries = add("01_all_fits")
    desk.printed(only(desk.queue()), "asst-1", None)
    assert only(desk.queue()).record.on == "current"
    shelf.add([later(shelf.visit(entries[0]["visit"]), kind="answer", item="packing.items", value=["upper_rim"])])
    assert only(desk.queue()).record.on == "older"
    desk.printed(only(desk.queue()), "asst-1", "repacked")
    record = only(desk.queue()).record
    assert record.on == "current"
    assert [event["value"]["reason"] for event in record.prints] == [None, "repacked"]


def test_a_note_added_at_the_desk_after_printing_changes_nothing(desk, add, shelf):
    entries = add("01_all_fits")
    desk.printed(only(desk.queue()), "asst-1", None)
    shelf.add([later(shelf.visit(entries[0]["visit"]), kind="answer", item="packing.note", value="fragile")])
    assert only(desk.queue()).record.on == "current"


def test_a_visit_that_is_not_signed_gets_no_label(desk, add):
    entries = add("04_tilted_plane")
    assert desk.queue() == []
    with pytest.raises(NoSignature, match="the visit is not signed"):
        desk.layout(only(desk.find(entries[0]["value"]["box"])))


def test_a_visit_changed_after_signing_gets_no_label_and_its_printed_one_is_of_an_older_record(desk, add, shelf):
    entries = add("01_all_fits")
    desk.printed(only(desk.queue()), "asst-1", None)
    shelf.add([later(shelf.visit(entries[0]["visit"]), kind="reading", item="display.rest", value=3)])
    box = only(desk.queue())
    assert not box.record.signed
    assert box.record.void_by["item"] == "display.rest"
    assert box.record.on == "older"
    with pytest.raises(NoSignature, match="changed after signing"):
        desk.layout(box)


def test_two_visits_with_one_code_are_both_shown(desk, add):
    code = add("01_all_fits", case="one")[0]["value"]["box"]
    add("07_marks_too_close", case="two", box=code)
    assert len({box.line.visit for box in desk.find(code)}) == 2


def test_a_good_code_that_no_visit_has_is_said_to_be_unknown(desk, add):
    add("01_all_fits")
    with pytest.raises(CodeError, match="no visit here has it"):
        desk.find("2M5Q-JTK6")


def test_a_visit_whose_sequence_has_not_arrived_waits_outside_the_queue(shelf, add):
    visit = add("01_all_fits")[0]["visit"]
    register = Register(shelf, lambda _: None)
    assert Desk(register, lambda: CLINIC, lambda: "", (57, 32), None).queue() == []
    with pytest.raises(NoSequence):
        register.view(visit)


def test_the_label_bears_the_signatures_digest_and_the_day_of_signing(desk, add):
    entries = add("01_all_fits")
    said = " ".join(words.text for words in desk.layout(only(desk.queue())).words)
    signature = next(entry for entry in entries if entry["kind"] == "signature")
    assert f"Record {signature['value']['digest'][:8]}" in said
    assert signature["at"][:10] in said
    for person in CLINIC.staff:
        assert person.name not in said


def test_a_supervised_visit_gets_no_label_before_its_second_signature(desk, add, shelf):
    entries = add("02_overclosed")
    second = entries[-1]
    shelf.visits_held[second["visit"]].remove(second)
    box = only(desk.queue())
    assert (box.record.signed, box.next) == (False, None)
    with pytest.raises(NoSignature, match="needs a second signature"):
        desk.layout(box)
    shelf.add([second])
    assert only(desk.queue()).record.signed


def test_packing_and_disinfection_are_recorded_at_the_desk_and_only_what_changed(desk, add, the_box, shelf):
    visit = add("07_marks_too_close")[0]["visit"]
    before = len(shelf.visit(visit))
    given = desk.packing(the_box()) | {"packing.items": ["upper_rim", "record"], "packing.agent": "high"}
    desk.pack(the_box(), given | {"packing.minutes": " 10,5 "}, "asst-2")
    record = the_box().record
    assert record.packed == ("upper rim", "jaw relation record")
    assert (record.disinfected, record.disinfected_by) == ("high level, 10.5 min", "asst-2")
    assert record.signed, "packing is not what a signature covers"
    assert len(shelf.visit(visit)) == before + 3
    desk.pack(the_box(), desk.packing(the_box()), "asst-1")
    assert len(shelf.visit(visit)) == before + 3


@pytest.mark.parametrize(("typed", "says"), [("10 min", "it has a unit in it"), ("ten", "is not a number")])
def test_minutes_that_are_no_number_are_refused_by_name_and_nothing_is_kept(desk, add, the_box, shelf, typed, says):
    visit = add("07_marks_too_close")[0]["visit"]
    before = len(shelf.visit(visit))
    with pytest.raises(PackingError, match=says):
        desk.pack(the_box(), desk.packing(the_box()) | {"packing.agent": "high", "packing.minutes": typed}, "asst-2")
    assert len(shelf.visit(visit)) == before
