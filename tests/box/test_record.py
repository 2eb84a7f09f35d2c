"""What the box says of its visit: which label it has, what is packed, and when a label cannot be made."""

import json
from pathlib import Path

import pytest

from chairapp.box.desk import Desk
from chairapp.box.errors import CodeError, NoSignature
from chairapp.case import case_of, entries_of
from chairapp.people.demo import demo_clinic
from chairapp.register import NoSequence, Register
from chairapp.sequence import digest, document, jaw_relation
from sync.entry import Stamper, frontier
from sync.store import Touched, TouchedPage

CASES = Path(__file__).parents[2] / "demo_cases"
SEQUENCE = document(jaw_relation())
CLINIC = demo_clinic(digest(SEQUENCE), "rims.example")


class Shelf:
    """Visits in memory, with as much of a store as a register needs."""

    def __init__(self):
        self.visits_held = {}

    def add(self, entries):
        for entry in entries:
            self.visits_held.setdefault(entry["visit"], []).append(entry)

    def visit(self, visit):
        return list(self.visits_held.get(visit, []))

    def visits(self, cursor=None, limit=500):
        touched = [Touched(visit, len(entries), 0) for visit, entries in self.visits_held.items()]
        return TouchedPage(touched, cursor or "", False)


@pytest.fixture
def shelf():
    return Shelf()


@pytest.fixture
def add(shelf):
    """Add a demo case as a visit; gives its entries."""

    def add(name, **changes):
        raw = json.loads((CASES / f"{name}.json").read_text()) | changes
        entries = entries_of(case_of(raw), SEQUENCE, device="tablet")
        shelf.add(entries)
        return entries

    return add


@pytest.fixture
def desk(shelf):
    stamper = Stamper("node")

    def write(visit, kind, item, value, author):
        entries = shelf.visit(visit)
        for entry in entries:
            stamper.merge(entry)
        seen = frontier(entries, ["adjustment"])
        shelf.add([stamper.entry(visit, kind, author=author, item=item, value=value, seen=seen)])

    register = Register(shelf, lambda name: SEQUENCE if name == digest(SEQUENCE) else None)
    return Desk(register, lambda: CLINIC, lambda: "https://rims.example", (57, 32), write)


def only(boxes):
    (box,) = boxes
    return box


def later(entries, **fields):
    last = max(entries, key=lambda entry: entry["clock"])
    stamper = Stamper("tablet", wall=lambda: last["clock"][0] + 60_000)
    seen = frontier(entries, ["adjustment"])
    return stamper.entry(entries[0]["visit"], fields.pop("kind"), author="clin-1", seen=seen, **fields)


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
