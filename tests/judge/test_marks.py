"""Alignment marks: how far apart, how well they hold the rims, what move explains their misfit."""

import math

import pytest

from chairapp.judge.marks import spread
from chairapp.judge.rigid import is_pinned, possible_turn, rigid_move
from chairapp.judge.rim import STATIONS, TANGENT, X, Y
from tests.judge.visits import fitting

WIDE = ["front", "molar_right", "molar_left"]


def seen(station, dx, dy, turn_deg):
    """The misfit a mark shows when the lower rim has moved so."""
    w = math.radians(turn_deg)
    tx, ty = TANGENT[station]
    return tx * (dx - w * Y[station]) + ty * (dy + w * X[station])


def marked(misfits, **more):
    return fitting(marks__placed=dict.fromkeys(misfits, True), marks__misfit=misfits, **more)


@pytest.mark.parametrize("stations", [WIDE, ["canine_left", "molar_right", "molar_left", "front"], STATIONS])
def test_the_move_of_the_rim_is_found_again(stations):
    move = rigid_move({station: seen(station, 0.4, -0.3, 1.2) for station in stations})
    assert move["dx"] == pytest.approx(0.4)
    assert move["dy"] == pytest.approx(-0.3)
    assert move["turn_deg"] == pytest.approx(1.2)
    assert move["left_over"] == (None if len(stations) == 3 else pytest.approx(0, abs=1e-12))


def test_a_clockwise_turn_takes_the_front_to_the_patients_right_and_the_left_side_forward():
    assert seen("front", 0, 0, 1) < 0
    assert seen("molar_left", 0, 0, 1) > 0
    assert seen("molar_right", 0, 0, 1) < 0


def test_one_mark_misread_among_many_leaves_a_rest():
    misfits = dict.fromkeys(STATIONS, 0.0)
    misfits["premolar_left"] = 0.5
    visit = marked(misfits)
    assert "marks_left_over" in visit.codes("marks")
    assert visit.judged()["derived"]["marks_fit"]["left_over"] > 0.25


@pytest.mark.parametrize(
    ("stations", "turn"),
    [
        (WIDE, 1.98),
        (["front", "premolar_right", "premolar_left"], 2.42),
        (["front", "canine_right", "canine_left"], 11.1),
    ],
)
def test_the_turn_that_marks_still_allow(stations, turn):
    assert possible_turn(stations, 0.5) == pytest.approx(turn, abs=0.05)


def test_a_turn_within_the_possible_keeps_every_misfit_within_the_tolerance():
    from scipy.optimize import linprog

    for stations in (WIDE, ["front", "canine_right", "molar_left"], STATIONS, ["canine_left", *WIDE]):
        rows = [[TANGENT[s][0], TANGENT[s][1], seen(s, 0, 0, math.degrees(1))] for s in stations]
        best = linprog(
            [0, 0, -1],
            A_ub=rows + [[-a for a in row] for row in rows],
            b_ub=[0.5] * 2 * len(rows),
            bounds=[(None, None)] * 3,
        )
        assert possible_turn(stations, 0.5) == pytest.approx(math.degrees(best.x[2]), rel=1e-6)


@pytest.mark.parametrize(
    ("stations", "share"),
    [
        (WIDE, 1),
        (["front", "molar_right"], 0),
        ([], 0),
        (["front", "canine_right", "canine_left"], 17 * 8 / (26 * 36)),
        (["front", "premolar_right", "premolar_left"], 22 * 18 / (26 * 36)),
    ],
)
def test_the_spread_is_the_share_of_the_widest_triangle(stations, share):
    assert spread(stations) == pytest.approx(share)


def test_two_marks_never_hold_a_rim():
    assert not is_pinned(["front", "molar_right"])
    assert possible_turn(["front", "molar_right"], 0.5) is None


def test_three_marks_far_apart_fit():
    visit = marked(dict.fromkeys(WIDE, 0))
    assert visit.verdict("marks") == "fits"
    assert visit.judged()["derived"]["marks_spread"] == 1.0


def test_fewer_than_three_marks_are_off():
    visit = marked({"front": 0, "molar_right": 0})
    assert visit.verdict("marks") == "off"
    assert visit.codes("marks") == ["marks_few"]


@pytest.mark.parametrize(("mm", "codes"), [(0.5, []), (-0.5, []), (0.75, ["marks_misfit"]), (-0.75, ["marks_misfit"])])
def test_a_mark_may_miss_by_half_a_millimetre(mm, codes):
    visit = marked({"front": mm, "molar_right": 0, "molar_left": 0})
    assert visit.codes("marks") == codes


def test_the_worst_mark_is_named_with_its_sign():
    visit = marked({"front": 0.75, "molar_right": -1, "molar_left": 0})
    (found,) = visit.judged()["steps"]["marks"]["findings"]
    assert found["value"] == -1
    assert found["params"]["where"] == ["molar_right", "front"]


@pytest.mark.parametrize(("position", "code"), [("slides", "position_slides"), ("rocks", "position_rocks")])
def test_rims_that_do_not_keep_one_position_are_off(position, code):
    assert fitting(marks__one_position=position).codes("marks") == [code]


def test_marks_close_together_are_unsure_twice_over():
    visit = marked({"front": 0, "canine_right": 0, "canine_left": 0})
    assert visit.verdict("marks") == "unsure"
    assert visit.codes("marks") == ["marks_close", "marks_turn"]


def test_a_marked_station_without_its_misfit_leaves_the_step_open():
    visit = fitting(marks__misfit={"front": 0, "molar_left": 0})
    assert visit.verdict("marks") == "open"
    assert visit.state()["items"]["marks.misfit"]["missing"] == ["molar_right"]


def test_a_misfit_where_no_mark_is_is_unsure():
    visit = fitting(marks__misfit={"front": 0, "molar_left": 0, "molar_right": 0, "canine_left": 0})
    assert visit.codes("marks") == ["marks_unmatched"]


def test_marks_that_cannot_hold_the_rim_are_said(monkeypatch):
    # The average arch has no three stations that fail; a narrower one, whose tangents meet in one point, has.
    centre = (0.0, 60.0)
    for station in STATIONS:
        away = (X[station] - centre[0], Y[station] - centre[1])
        length = math.hypot(*away)
        monkeypatch.setitem(TANGENT, station, (away[0] / length, away[1] / length))
    visit = marked(dict.fromkeys(WIDE, 0))
    assert visit.codes("marks") == ["marks_not_pinned"]
    assert visit.judged()["derived"]["marks_fit"]["turn_deg"] is None
    assert visit.judged()["derived"]["marks_fit"]["possible_turn_deg"] is None
