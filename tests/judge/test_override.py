"""A clinic's own bands, limits and required flags are what a visit is judged by."""

import copy

import pytest

from tests.judge.visits import FITTING, SEQUENCE, Visit


def own(item=None, settings=None, bands=None, **changed):
    sequence = copy.deepcopy(SEQUENCE)
    for step in sequence["steps"]:
        for one in step["items"]:
            if one["id"] == item:
                one.update(changed)
    sequence["settings"].update(settings or {})
    sequence["bands"].update(bands or {})
    return sequence


def visit(sequence, **changed):
    return Visit(sequence).give({**FITTING, **{item.replace("__", "."): value for item, value in changed.items()}})


@pytest.mark.parametrize(
    ("sequence", "changed", "step", "verdict"),
    [
        (own("display.rest", band=[2, 4]), {}, "display", "off"),
        (own("plane.front", band=[-0.25, 0.25], tolerated=[-1, 1]), {}, "plane", "unsure"),
        (own("plane.front", tolerated=None, band=[-0.25, 0.25]), {}, "plane", "off"),
        (own(bands={"interocclusal_distance": [3.5, 5]}), {}, "vertical", "off"),
        (own("overjet.gap", band=[2.5, 3]), {}, "overjet", "unsure"),
        (own("overjet.gap", band=[2.5, 3], tolerated=[2.5, None]), {}, "overjet", "off"),
        (
            own("overjet.gap", tolerated=[1.5, 6]),
            {"overjet__gap": dict.fromkeys(FITTING["overjet.gap"], 7)},
            "overjet",
            "off",
        ),
        (
            own("marks.misfit", band=[-0.25, 0.25]),
            {"marks__misfit": {**FITTING["marks.misfit"], "front": 0.5}},
            "marks",
            "off",
        ),
        (own(settings={"marks.turn": 1}), {}, "marks", "unsure"),
        (own("display.rest", needed=2), {}, "display", "unsure"),
        (own("display.rest", spread=0.25), {"display__rest": [1.25, 1.75]}, "display", "unsure"),
        (own("bench.front_width", required=True), {}, "bench", "open"),
        (own("bench.front_width", required=True), {"bench__front_width": [20]}, "bench", "off"),
        (own("vertical.m_rest", required=False), {"vertical__m_rest": None}, "vertical", "fits"),
        (own("lower.pad_left", fits=["half"], unsure=["two_thirds"]), {}, "lower", "unsure"),
    ],
)
def test_a_visit_is_judged_by_its_own_sequence(sequence, changed, step, verdict):
    assert visit(sequence, **changed).verdict(step) == verdict


def test_too_few_readings_say_how_many_more():
    (found,) = visit(own("display.rest", needed=3)).judged()["steps"]["display"]["findings"]
    assert (found["code"], found["params"]) == ("few_readings", {"needed": 3, "more": 2})


def test_the_plan_aims_where_the_clinic_does():
    made = visit(own(settings={"plan.display": 2}), display__rest=[4]).judged()["plan"]
    assert made["upper"]["front"] == -2


def test_the_wedge_follows_the_clinics_own_hinge():
    sequence = own(settings={"hinge.skin_to_rim.tip_and_chin": 1})
    made = visit(sequence, vertical__rest=[70] * 3, vertical__occlusal=[69] * 3).judged()["plan"]
    assert made["lower"]["front"] == -2
