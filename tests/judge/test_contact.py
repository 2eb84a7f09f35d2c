"""How the gaps open, named with the place."""

import pytest

from chairapp.judge.contact import best_plane, opens, pattern
from chairapp.judge.rim import STATIONS, X, Y
from tests.judge.visits import fitting


def gaps(**open_at):
    return {**dict.fromkeys(STATIONS, 0), **open_at}


def tilted(cx, cy):
    """Gaps that are exactly a plane and touch at one place."""
    heights = {s: cx * X[s] + cy * Y[s] for s in STATIONS}
    lowest = min(heights.values())
    return {s: heights[s] - lowest for s in STATIONS}


@pytest.mark.parametrize(
    ("given", "name", "where"),
    [
        (gaps(), "even", []),
        (dict.fromkeys(STATIONS, 0.25), "apart", []),
        (tilted(0.02, 0), "tilted", ["left"]),
        (tilted(-0.02, 0), "tilted", ["right"]),
        (tilted(0, 0.02), "tilted", ["front"]),
        (tilted(0, -0.02), "tilted", ["back"]),
        (tilted(0.02, -0.02), "tilted", ["left", "back"]),
        (tilted(-0.02, 0.04), "tilted", ["front", "right"]),
        (gaps(front=1, molar_left=1, molar_right=0.25), "rocking", ["right", "left"]),
        (gaps(front=1, molar_left=1, premolar_left=0.25, molar_right=0), "rocking", ["left"]),
        (gaps(front=1), "local", ["front"]),
        (gaps(premolar_right=1, canine_left=0.5), "local", ["premolar_right", "canine_left"]),
    ],
)
def test_the_pattern_of_the_gaps_is_named_with_its_place(given, name, where):
    assert pattern(given) == {"name": name, "where": where}


@pytest.mark.parametrize(
    ("given", "verdict", "code"),
    [
        (gaps(), "fits", None),
        (dict.fromkeys(STATIONS, 1), "unsure", "contact_apart"),
        (tilted(0.02, 0), "off", "contact_tilted"),
        (gaps(front=1), "off", "contact_local"),
        (gaps(front=1, molar_left=1, molar_right=0.25), "off", "contact_rocking"),
    ],
)
def test_only_even_contact_fits(given, verdict, code):
    visit = fitting(contact__gap=given)
    assert visit.verdict("contact") == verdict
    assert visit.codes("contact") == ([code] if code else [])


def test_a_jaw_that_wanders_makes_even_contact_unsure():
    visit = fitting(contact__position="wanders")
    assert visit.verdict("contact") == "unsure"
    assert visit.codes("contact") == ["position_wanders"]


def test_the_smaller_slope_is_named_from_half_the_larger_on():
    assert opens(0.01, 0.52 / 36 / 2) == ["left", "front"]
    assert opens(0.01, 0.52 / 36 / 2 - 1e-5) == ["left"]


def test_gaps_of_a_plane_are_explained_wholly_and_without_rest():
    fitted = best_plane(tilted(0.013, -0.007))
    assert fitted["r2"] == pytest.approx(1)
    assert fitted["cx"] == pytest.approx(0.013)
    assert fitted["cy"] == pytest.approx(-0.007)


def test_the_share_a_plane_must_explain_is_the_clinics_own():
    given = gaps(molar_left=1, premolar_left=0.5, canine_left=0.5, front=0.25)
    r2 = best_plane(given)["r2"]
    assert pattern(given, r2)["name"] == "tilted"
    assert pattern(given, r2 + 0.001)["name"] != "tilted"
