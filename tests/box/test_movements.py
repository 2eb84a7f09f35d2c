"""Where a box is, the one thing to do next, and what two nodes say of the same box."""

import pytest

from chairapp.box.code import parse
from chairapp.box.errors import CodeError, MoveError, NoSignature, OutcomeError
from chairapp.box.movement import HERE
from chairapp.box.outcome import Outcome, told
from chairapp.sequence.check_box import TRIED
from chairapp.visit import stage
from tests.box.conftest import Shelf, desk_at, only

RIGHT = dict.fromkeys(TRIED, "right")


@pytest.fixture
def sent(desk, add, the_box):
    """The visit of a box that was labelled and sent."""
    visit = add("01_all_fits")[0]["visit"]
    desk.printed(the_box(), "asst-1", None)
    desk.move(the_box(), "laboratory", "asst-1")
    return visit


def go(desk, the_box, *places):
    for place in places:
        desk.move(the_box(), place, "asst-1")


def note(desk, the_box, **changes):
    given = Outcome(dict(RIGHT), repeat=False)
    for name, value in changes.items():
        given.found[name] = value
    given.why = "seen at the try-in" if changes else ""
    desk.note_outcome(the_box(), given, "clin-1")


def test_the_next_thing_leads_a_box_from_its_label_to_its_end(desk, add, the_box):
    add("01_all_fits")
    assert the_box().next.do == "label"
    desk.printed(the_box(), "asst-1", None)
    done = []
    while the_box().next:
        done.append(the_box().next.do)
        if done[-1] == "outcome":
            note(desk, the_box)
        else:
            desk.move(the_box(), done[-1], "asst-1")
    assert done == ["laboratory", "clinic", "chair", "outcome", "finished"]


def test_what_is_to_be_corrected_sends_the_box_to_the_laboratory_again(desk, sent, the_box):
    go(desk, the_box, "clinic", "chair")
    note(desk, the_box, midline="correct")
    assert the_box().next.do == "laboratory"
    go(desk, the_box, "laboratory", "clinic", "chair")
    assert the_box().next.do == "outcome", "the next try-in is noted anew"


def test_nothing_leaves_the_clinic_before_it_is_signed(desk, add, the_box):
    add("04_tilted_plane")
    assert the_box().next is None
    with pytest.raises(NoSignature, match="not signed"):
        desk.move(the_box(), "laboratory", "asst-1")


def test_a_movement_is_taken_back_by_a_further_entry_and_both_stay(desk, sent, the_box, shelf):
    before = len(shelf.visit(sent))
    desk.take_back(the_box(), "asst-2")
    assert the_box().where.place == HERE
    assert len(shelf.visit(sent)) == before + 1
    with pytest.raises(MoveError, match="nothing to take back"):
        desk.take_back(the_box(), "asst-2")


def test_taking_back_shows_the_place_before_with_its_own_time(desk, sent, the_box, clock):
    since = the_box().where.since
    clock.on(days=3)
    go(desk, the_box, "clinic")
    desk.take_back(the_box(), "asst-1")
    assert (the_box().where.place, the_box().where.since) == ("laboratory", since)


def test_a_finished_visit_opens_again_when_finishing_is_taken_back(desk, sent, the_box, shelf):
    go(desk, the_box, "finished")
    assert stage(shelf.visit(sent)) == "finished"
    desk.take_back(the_box(), "asst-1")
    assert stage(shelf.visit(sent)) == "open"


def test_a_box_is_not_moved_to_where_it_is(desk, sent, the_box):
    with pytest.raises(MoveError, match="there already"):
        desk.move(the_box(), "laboratory", "asst-1")


@pytest.mark.parametrize(("days", "overdue"), [(13, False), (14, True)])
def test_fourteen_days_at_the_laboratory_are_overdue(desk, sent, the_box, clock, days, overdue):
    clock.on(days=days)
    assert the_box().where.overdue is overdue
    go(desk, the_box, "clinic")
    assert not the_box().where.overdue


def test_a_box_is_overdue_the_day_after_it_was_wanted_and_coming_back_settles_it(desk, sent, the_box, clock):
    desk.want(the_box(), "2026-01-07", "asst-1")
    clock.on(days=2)
    assert not the_box().where.overdue
    clock.on(days=1)
    assert the_box().where.overdue
    go(desk, the_box, "clinic", "laboratory")
    assert the_box().record.wanted is None
    assert not the_box().where.overdue


@pytest.mark.parametrize("day", ["7.1.2026", "2026-02-30", "soon"])
def test_a_wanted_day_that_is_none_is_refused_and_nothing_is_kept(desk, sent, the_box, shelf, day):
    before = len(shelf.visit(sent))
    with pytest.raises(MoveError, match="write a day such as"):
        desk.want(the_box(), day, "asst-1")
    assert len(shelf.visit(sent)) == before


def test_a_wanted_day_can_be_taken_away_and_saying_it_again_adds_nothing(desk, sent, the_box, shelf):
    desk.want(the_box(), "2026-01-07", "asst-1")
    before = len(shelf.visit(sent))
    desk.want(the_box(), "2026-01-07", "asst-1")
    assert len(shelf.visit(sent)) == before
    desk.want(the_box(), "", "asst-1")
    assert the_box().record.wanted is None


@pytest.mark.parametrize("first", ["chair", "clinic"])
def test_movements_made_on_two_nodes_merge_to_the_same_place_in_whatever_order_they_arrive(add, shelf, clock, first):
    visit = add("01_all_fits")[0]["visit"]
    other = Shelf()
    other.add(shelf.visit(visit))
    nodes = {"chair": (desk_at(shelf, clock, "chair"), shelf), "clinic": (desk_at(other, clock, "clinic"), other)}
    code = shelf.visit(visit)[0]["value"]["box"]
    for name, to, minutes in (("chair", "laboratory", 5), ("clinic", "laboratory", 5), ("clinic", "clinic", 60)):
        desk = nodes[name][0]
        desk.move(only(desk.find(code)), to, "asst-1")
        clock.on(minutes=minutes)
    nodes["chair"][0].take_back(only(nodes["chair"][0].find(code)), "asst-2")

    order = [first, "clinic" if first == "chair" else "chair"]
    merged = Shelf()
    for name in order:
        merged.add(nodes[name][1].visit(visit))
    box = only(desk_at(merged, clock).find(code))
    assert box.where.place == "clinic", "the one that was not taken back stands"
    assert [(one["device"], one["value"]["to"]) for one in box.record.moved] == [
        ("clinic", "laboratory"),
        ("clinic", "clinic"),
    ]


def test_the_list_of_all_boxes_shows_every_one_where_it_is(desk, sent, add):
    add("04_tilted_plane")
    found = desk.places()
    assert {place: len(boxes) for place, boxes in found.items() if boxes} == {HERE: 1, "laboratory": 1}
    assert found["laboratory"][0].line.visit == sent


@pytest.mark.parametrize(
    "scanned",
    ["HTTPS://RIMS.EXAMPLE/B/7KQ4M2XV", "http://127.0.0.1:8080/b/7kq4m2xv\n", "HTTPS?--RIMS.EXAMPLE-B-7KQ4M2XV"],
)
def test_the_address_a_scanner_types_is_taken_as_its_code(scanned):
    with pytest.raises(CodeError, match="7KQ4-M2XV has a slip"):
        parse(scanned)
    assert parse(scanned.upper().replace("7KQ4M2XV", "7KQ4M2X9").strip()) == "7KQ4M2X9"


def test_the_form_of_the_try_in_names_what_is_missing():
    given = Outcome()
    with pytest.raises(OutcomeError, match="Vertical dimension: say whether"):
        given.value()
    given.found |= RIGHT
    with pytest.raises(OutcomeError, match="Record: say whether"):
        given.value()
    given.repeat = True
    with pytest.raises(OutcomeError, match="Why: say in a word"):
        given.value()
    given.why = " closes too low "
    assert given.value() == {**RIGHT, "repeat": True, "why": "closes too low"}
    given.why = "x" * 201
    with pytest.raises(OutcomeError, match="201 characters, at most 200"):
        given.value()


def test_an_outcome_is_told_in_a_line():
    assert told({**RIGHT, "repeat": False, "why": ""}) == "All right"
    said = told({**RIGHT, "plane": "correct", "midline": "correct", "repeat": True, "why": "marks worn"})
    assert said == "Plane, Midline to be corrected; record to be repeated: marks worn"
