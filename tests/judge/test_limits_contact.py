"""Gap patterns at their edges: what pivots a rocking rim, and which stations are named."""

import pytest

from tests.judge.visits import fitting

SIDE = ["canine", "premolar", "molar"]


def pattern(**gaps):
    stations = {"front": 0.0} | {f"{place}_{side}": 0.0 for place in SIDE for side in ("right", "left")}
    return fitting(contact__gap={**stations, **gaps}).judged()["derived"]["contact_pattern"]


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("touching", [["premolar"], ["canine"], ["premolar", "canine"]])
def test_a_rim_rocks_on_a_premolar_a_canine_or_both(side, touching):
    open_places = {f"{place}_{side}": 0.5 for place in SIDE if place not in touching}
    found = pattern(front=0.75, **open_places)
    assert (found["name"], found["where"]) == ("rocking", [side])


def test_a_rim_open_along_a_whole_side_but_for_nothing_does_not_rock():
    found = pattern(front=0.75, canine_right=0.25, premolar_right=0.75, molar_right=0.25)
    assert found["name"] != "rocking"


def test_a_side_whose_molar_touches_does_not_rock():
    assert pattern(front=0.75, canine_right=0.5)["name"] != "rocking"


def test_open_places_that_fit_no_other_pattern_are_named_one_by_one():
    found = pattern(premolar_left=0.5)
    assert found["name"] == "local"
    assert found["where"] == ["premolar_left"]
