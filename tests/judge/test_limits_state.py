"""What else the state and the plan say, each with the small wrong change in mind that nothing else would notice."""

import copy

import pytest

from chairapp.judge import judge
from chairapp.judge.errors import InputError
from tests.judge.visits import SEQUENCE, fitting


def test_an_adjustment_names_what_it_disturbs_and_nothing_else():
    visit = fitting()
    visit.adjust("upper", "labial", {"front": -1})
    [row] = visit.state()["adjustments"]
    assert {"lip.support", "display.rest", "overjet.gap", "marks.misfit"} <= set(row["disturbs"])
    assert not {"contact.gap", "vertical.occlusal", "lower.commissure"} & set(row["disturbs"])


def test_an_adjustment_taken_back_disturbs_nothing():
    visit = fitting()
    visit.withdraw(visit.adjust("upper", "height", -1))
    [row] = visit.state()["adjustments"]
    assert row["withdrawn"] is True
    assert row["disturbs"] == []


def test_a_note_that_was_taken_back_is_kept_and_says_so():
    visit = fitting()
    visit.withdraw(visit.add("note", "lip", "patient asks for more support"))
    visit.add("note", "lip", "agreed")
    assert [(note["value"], note["withdrawn"]) for note in visit.state()["notes"]] == [
        ("patient asks for more support", True),
        ("agreed", False),
    ]


def test_a_plan_that_lowers_the_rim_says_that_it_corrects_the_distance():
    plan = fitting(vertical__rest=[70, 70, 70], vertical__occlusal=[69, 69, 69]).judged()["plan"]
    assert "distance" in plan["corrects"]


def test_the_same_entries_twice_over_as_other_objects_are_the_same_visit():
    visit = fitting()
    assert judge(SEQUENCE, visit.entries + copy.deepcopy(visit.entries)) == visit.judged()


@pytest.mark.parametrize("clock", [["soon", 0], [1000, "first"], [-1, 0], [1000], None])
def test_a_clock_of_another_shape_is_refused_by_name(clock):
    visit = fitting()
    visit.entries[3] = dict(visit.entries[3], clock=clock)
    with pytest.raises(InputError) as refused:
        visit.judged()
    assert refused.value.field == "clock"
