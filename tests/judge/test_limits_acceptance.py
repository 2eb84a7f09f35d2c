"""An acceptance at its edges: below a band, with values that are words, and what came near its step in between."""

import pytest

from tests.judge.visits import FITTING, fitting


def accepted(step, **changed):
    visit = fitting(**changed)
    visit.accept(step)
    assert visit.verdict(step) == "accepted"
    return visit


@pytest.mark.parametrize(
    ("next_reading", "verdict"),
    # the mean of 0.5 and the next reading: further out is lower, down to hidden under the lip
    [(0.5, "accepted"), (0.75, "accepted"), (0.25, "off"), (0, "off"), (-0.5, "off")],
)
def test_below_the_band_further_out_is_lower(next_reading, verdict):
    visit = accepted("display", display__rest=[0.5])
    visit.give({"display.rest": [next_reading]})
    assert visit.verdict("display") == verdict


def test_an_overjet_of_a_crossbite_accepted_does_not_cover_a_deeper_one():
    visit = accepted("overjet", overjet__gap={**FITTING["overjet.gap"], "molar_left": -1})
    visit.give({"overjet.gap": {**FITTING["overjet.gap"], "molar_left": -1.5}})
    assert visit.verdict("overjet") == "off"


@pytest.mark.parametrize("item", ["seating.stable", "bases.closing"])
def test_a_cap_that_came_and_went_lapses_it_all_the_same(item):
    visit = accepted("contact", contact__gap={**FITTING["contact.gap"], "front": 1})
    before = FITTING[item]
    visit.give({item: {"seating.stable": "rocks", "bases.closing": "right"}[item]})
    visit.give({item: before})
    assert visit.verdict("contact") == "off"


def test_a_new_round_begun_by_an_answer_lapses_it_even_when_the_answer_is_taken_back():
    visit = accepted("plane", plane__right=[6])
    visit.give({"seating.tragus": "upper"})
    assert visit.verdict("plane") == "stale"
    visit.give({"seating.tragus": FITTING["seating.tragus"]}).give({"plane.right": [6], "plane.left": [0]})
    assert visit.verdict("plane") == "off"


def test_what_has_nothing_to_do_with_the_step_leaves_the_acceptance_alone():
    visit = accepted("display", display__rest=[3])
    visit.give({"lines.midline": "not_marked", "overjet.gap": dict.fromkeys(FITTING["overjet.gap"], 3.5)})
    assert visit.verdict("display") == "accepted"


def test_a_withdrawn_reading_that_moves_the_mean_further_out_lapses_it():
    visit = accepted("display", display__rest=[3, 4])
    visit.withdraw(next(e["id"] for e in visit.entries if e["item"] == "display.rest" and e["value"] == 3))
    assert visit.verdict("display") == "off"
