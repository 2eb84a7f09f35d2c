"""The judge's geometry against numpy, scipy and arithmetic (source beside each)."""

import math
import random

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from chairapp.judge.contact import best_plane
from chairapp.judge.marks import spread
from chairapp.judge.rigid import _eigenvalues, is_pinned, possible_turn, rigid_move
from chairapp.judge.rim import HINGE, STATIONS, TANGENT, X, Y, area
from tests.judge.visits import fitting


def system(stations):
    """The rows of misfit = T p for p = (dx, dy, 88 w)."""
    rows = []
    for station in stations:
        tx, ty = TANGENT[station]
        rows.append([tx, ty, (-tx * Y[station] + ty * X[station]) / HINGE])
    return np.array(rows)


def random_stations(rng):
    return rng.sample(STATIONS, rng.randint(3, 7))


# Source: Bonwill's 4 in equilateral triangle (common practice, no source); its height by Pythagoras.
def test_the_front_lies_at_the_height_of_bonwills_triangle():
    assert math.sqrt(101.6**2 - (101.6 / 2) ** 2) == pytest.approx(87.99, abs=0.005)
    assert pytest.approx(87.99, abs=0.02) == HINGE


# Source: arithmetic: a tilt of 2 deg makes 1.75 mm over a span of 50 mm, 4 deg 3.50 mm.
@pytest.mark.parametrize(("deg", "mm"), [(2, 1.75), (4, 3.50)])
def test_a_tilt_over_a_span(deg, mm):
    over_rim = fitting(plane__front=[deg]).judged()["derived"]["plane_front"]["mm_over_rim"]
    assert over_rim / 34 * 50 == pytest.approx(mm, abs=0.005)


# Source: tangents are directions: unit vectors (arithmetic).
@pytest.mark.parametrize("station", STATIONS)
def test_the_tangents_have_unit_length(station):
    assert math.hypot(*TANGENT[station]) == pytest.approx(1, abs=1e-3)


# Source: numpy.linalg.lstsq.
def test_the_plane_through_the_gaps_is_numpys_least_squares_plane():
    rng = random.Random(2)
    design = np.array([[1, X[s], Y[s]] for s in STATIONS])
    for _ in range(100):
        gaps = {station: rng.choice([0, rng.uniform(0, 5)]) for station in STATIONS}
        heights = np.array([gaps[s] for s in STATIONS])
        if np.ptp(heights) == 0:
            continue
        coefficients, *_ = np.linalg.lstsq(design, heights, rcond=None)
        left = heights - design @ coefficients
        ours = best_plane(gaps)
        assert [ours["c0"], ours["cx"], ours["cy"]] == pytest.approx(coefficients.tolist(), abs=1e-9)
        r2 = 1 - (left @ left) / ((heights - heights.mean()) @ (heights - heights.mean()))
        assert ours["r2"] == pytest.approx(r2, abs=1e-9)


# Source: numpy.linalg.lstsq.
def test_the_rigid_move_is_numpys_least_squares_solution():
    rng = random.Random(3)
    for _ in range(200):
        stations = random_stations(rng)
        misfits = {station: rng.uniform(-2, 2) for station in stations}
        solution, *_ = np.linalg.lstsq(system(stations), np.array(list(misfits.values())), rcond=None)
        ours = rigid_move(misfits)
        theirs = [solution[0], solution[1], math.degrees(solution[2] / HINGE)]
        assert [ours["dx"], ours["dy"], ours["turn_deg"]] == pytest.approx(theirs, rel=1e-6, abs=1e-8)
        left = np.abs(system(stations) @ solution - list(misfits.values())).max()
        assert ours["left_over"] == (None if len(stations) == 3 else pytest.approx(left, abs=1e-9))


# Source: scipy.spatial.transform.Rotation: points really turned and shifted, the misfit read along the tangents.
@pytest.mark.parametrize("turn", [-1.5, -0.2, 0.4, 1.0])
def test_a_rim_really_turned_and_shifted_is_recognised(turn):
    # clockwise as seen from above with y drawn downwards is the positive sense from x to y
    rotation = Rotation.from_euler("z", turn, degrees=True)
    misfits = {}
    for station in STATIONS:
        moved = rotation.apply([X[station], Y[station], 0]) + np.array([0.3, -0.2, 0])
        step = moved[:2] - [X[station], Y[station]]
        misfits[station] = float(np.dot(TANGENT[station], step))
    move = rigid_move(misfits)
    # small angles: what is neglected is of second order (88 mm x w^2 / 2)
    assert move["turn_deg"] == pytest.approx(turn, abs=0.02)
    assert move["dx"] == pytest.approx(0.3, abs=0.05)
    assert move["dy"] == pytest.approx(-0.2, abs=0.05)
    assert move["left_over"] < 0.03


# Source: Kabsch's rotation by numpy's singular value decomposition, and scipy's Rotation.align_vectors.
@pytest.mark.parametrize("turn", [-1.0, 0.5, 1.5])
def test_the_turn_agrees_with_kabsch_and_scipy(turn):
    points = np.array([[X[s], Y[s], 0.0] for s in STATIONS])
    moved = Rotation.from_euler("z", turn, degrees=True).apply(points)
    a, b = points - points.mean(axis=0), moved - moved.mean(axis=0)
    u, _, vt = np.linalg.svd(a[:, :2].T @ b[:, :2])
    kabsch = vt.T @ np.diag([1, np.sign(np.linalg.det(vt.T @ u.T))]) @ u.T
    aligned, _ = Rotation.align_vectors(b, a)
    theirs = math.degrees(math.atan2(kabsch[1, 0], kabsch[0, 0]))
    assert theirs == pytest.approx(aligned.as_euler("xyz", degrees=True)[2], abs=1e-6)
    steps = moved - points
    ours = rigid_move({s: float(np.dot(TANGENT[s], steps[i][:2])) for i, s in enumerate(STATIONS)})
    assert ours["turn_deg"] == pytest.approx(theirs, abs=0.03)


# Source: numpy.linalg.svd.
def test_marks_are_pinned_when_numpys_singular_values_say_so():
    rng = random.Random(5)
    for _ in range(100):
        stations = random_stations(rng)
        values = np.linalg.svd(system(stations), compute_uv=False)
        assert is_pinned(stations) == (values[-1] / values[0] > 1e-6)


# Source: numpy.linalg.eigvalsh.
def test_eigenvalues_are_numpys():
    rng = np.random.default_rng(6)
    for _ in range(100):
        half = rng.normal(size=(3, 3))
        matrix = half @ half.T
        ours = sorted(_eigenvalues(matrix.tolist()))
        assert ours == pytest.approx(np.linalg.eigvalsh(matrix).tolist(), abs=1e-9)


# Source: the specification's figures, held against scipy.optimize.linprog.
@pytest.mark.parametrize(("pair", "deg"), [("molar", 1.98), ("premolar", 2.42), ("canine", 11.1)])
def test_the_turn_that_front_and_two_marks_allow(pair, deg):
    from scipy.optimize import linprog

    stations = ["front", pair + "_right", pair + "_left"]
    rows = system(stations)
    best = linprog([0, 0, -1], A_ub=np.vstack([rows, -rows]), b_ub=[0.5] * 6, bounds=[(None, None)] * 3)
    assert possible_turn(stations, 0.5) == pytest.approx(math.degrees(best.x[2] / HINGE), rel=1e-9)
    assert possible_turn(stations, 0.5) == pytest.approx(deg, abs=0.05)


# Source: the shoelace formula by numpy.
def test_areas_are_those_of_the_shoelace_formula():
    for a in STATIONS:
        for b in STATIONS:
            points = np.array([[X[s], Y[s]] for s in (a, b, "front")])
            x, y = points.T
            shoelace = abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2
            assert area(a, b, "front") == pytest.approx(shoelace)


# Source: three, widely apart (common practice, no source): no triangle of an average arch is much wider.
def test_front_and_molars_are_as_wide_as_marks_get():
    assert spread(["front", "molar_right", "molar_left"]) == 1
    assert 1 <= spread(STATIONS) < 1.1


# Source: the hinge as a true rotation (scipy): a wedge y/88 is what a small turn about the hinge axis does to the rim.
def test_a_wedge_is_what_a_turn_about_the_hinge_does():
    turn = Rotation.from_euler("x", math.degrees(2 / HINGE), degrees=True)
    front = turn.apply([0, HINGE, 0])[2]
    for station in STATIONS:
        height = turn.apply([X[station], Y[station], 0])[2]
        assert height == pytest.approx(front * Y[station] / HINGE, abs=1e-9)
