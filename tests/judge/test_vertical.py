"""The interocclusal distance: its interval, its verdict, what contradicts it, and how many readings would settle it."""

import pytest

from tests.judge.visits import fitting


def vertical(rest, occlusal, **more):
    return fitting(vertical__rest=rest, vertical__occlusal=occlusal, **more)


def only(visit):
    (found,) = [f for f in visit.judged()["steps"]["vertical"]["findings"] if f["level"] != "note"]
    return found


def test_the_distance_is_shown_with_its_95_percent_interval():
    derived = vertical([70.5, 71, 70], [67.5, 68, 67.5]).judged()["derived"]["interocclusal_distance"]
    assert derived["value"] == 2.833333
    assert derived["low"] == pytest.approx(1.806, abs=0.001)
    assert derived["high"] == pytest.approx(3.860, abs=0.001)


def test_a_single_reading_of_either_has_no_interval():
    derived = vertical([70], [67, 67, 67]).judged()["derived"]["interocclusal_distance"]
    assert derived == {"value": 3.0, "low": None, "high": None}


def test_without_readings_there_is_no_distance():
    derived = vertical(None, [67, 67, 67]).judged()["derived"]["interocclusal_distance"]
    assert derived == {"value": None, "low": None, "high": None}


@pytest.mark.parametrize(
    ("rest", "occlusal", "more"),
    [([70, 70], [67, 67, 67], (1, 0)), ([70], [67], (2, 2)), ([70, 70, 70], [67, 67], (0, 1))],
)
def test_fewer_than_three_readings_are_too_few_and_what_lacks_is_said(rest, occlusal, more):
    found = only(vertical(rest, occlusal))
    assert (found["code"], found["level"]) == ("few", "unsure")
    assert (found["params"]["rest_more"], found["params"]["occlusal_more"]) == more


def test_too_few_comes_before_disagree_and_out():
    assert vertical([80, 70], [67, 67, 67]).codes("vertical") == ["few"]


def test_readings_that_disagree_come_before_out():
    visit = vertical([70, 71.75, 70], [60, 60, 60])
    assert visit.codes("vertical") == ["disagree"]
    assert only(visit)["item"] == "vertical.rest"
    assert vertical([70, 72, 70], [67, 69, 67]).codes("vertical") == ["disagree", "disagree"]


def test_a_spread_of_just_one_and_a_half_is_no_disagreement():
    assert "disagree" not in vertical([70, 71.5, 70], [67, 67, 67]).codes("vertical")


@pytest.mark.parametrize(
    ("occlusal", "code"),
    [(68.5, "distance_small"), (65.5, "distance_large"), (68.000003, "distance_small"), (65.999997, "distance_large")],
)
def test_a_distance_out_of_its_band_is_off(occlusal, code):
    found = only(vertical([70] * 3, [occlusal] * 3))
    assert (found["code"], found["level"], found["band"]) == (code, "off", [2, 4])


@pytest.mark.parametrize("occlusal", [68, 66])
def test_a_distance_at_its_limit_is_close(occlusal):
    found = only(vertical([70] * 3, [occlusal] * 3))
    assert (found["code"], found["level"]) == ("close", "unsure")
    assert found["params"]["more"] is None


def test_further_readings_that_would_settle_it_are_counted():
    found = only(vertical([70, 71, 70.5], [68, 67.5, 68]))
    assert found["code"] == "close"
    more = found["params"]["more"]
    assert 1 <= more <= 8
    assert found["params"]["low90"] > found["params"]["low"]
    assert found["params"]["high90"] < found["params"]["high"]


def test_the_verdict_uses_the_narrower_interval():
    visit = vertical([70.5, 71, 70], [67.5, 67.5, 68])
    derived = visit.judged()["derived"]["interocclusal_distance"]
    assert derived["low"] < 2
    assert visit.codes("vertical") == []


@pytest.mark.parametrize(
    ("changed", "sign"),
    [
        ({"vertical__s_sound": "touch"}, "s_touch"),
        ({"vertical__s_sound": "wide"}, "s_wide"),
        ({"vertical__m_rest": "strained"}, "m_strained"),
        ({"vertical__m_rest": "open"}, "m_open"),
        ({"vertical__s_space": [0.5]}, "s_space_small"),
        ({"vertical__s_space": [3.25]}, "s_space_large"),
    ],
)
def test_speech_that_does_not_go_with_the_distance_contradicts_it(changed, sign):
    visit = fitting(**changed)
    found = only(visit)
    assert (found["code"], found["level"], found["params"]) == ("contradiction", "unsure", {"signs": [sign]})
    assert sign in visit.codes("vertical", notes=True)


def test_signs_that_go_with_a_wrong_distance_contradict_nothing():
    visit = vertical([70] * 3, [69] * 3, vertical__s_sound="touch")
    assert visit.codes("vertical") == ["distance_small"]
    assert "s_touch" in visit.codes("vertical", notes=True)


@pytest.mark.parametrize(("space", "noted"), [(1, False), (2, False), (2.5, True), (3, True)])
def test_a_speaking_space_up_to_three_is_tolerated_with_a_note(space, noted):
    visit = fitting(vertical__s_space=[space])
    assert visit.verdict("vertical") == "fits"
    assert visit.codes("vertical", notes=True) == (["s_space_large"] if noted else [])


@pytest.mark.parametrize("face", ["collapsed", "strained"])
def test_the_face_is_a_note(face):
    visit = fitting(vertical__face=face)
    assert visit.codes("vertical", notes=True) == ["face_" + face]
    assert visit.verdict("vertical") == "fits"


def test_rest_cannot_be_read_with_both_rims_in_when_next_to_nothing_is_left():
    visit = vertical([70] * 3, [69.5] * 3, vertical__rest_bases="both")
    assert visit.codes("vertical", notes=True) == ["distance_small", "rest_unreadable"]
    assert "rest_unreadable" not in vertical([70] * 3, [69] * 3, vertical__rest_bases="both").codes(
        "vertical", notes=True
    )
    assert "rest_unreadable" not in vertical([70] * 3, [69.5] * 3).codes("vertical", notes=True)


def test_readings_without_any_scatter_are_held_to_the_step_of_the_pad():
    derived = vertical([70] * 3, [67] * 3).judged()["derived"]["interocclusal_distance"]
    assert derived["low"] == pytest.approx(2.673, abs=0.0005)
    assert derived["high"] == pytest.approx(3.327, abs=0.0005)


def test_a_bad_distance_never_reads_better_than_a_good_one():
    order = ["fits", "unsure", "off"]
    for rest in ([70, 70, 70], [70, 70.5, 71]):
        ranks = [order.index(vertical(rest, [67 - mm / 4] * 3).verdict("vertical")) for mm in range(20)]
        assert ranks == sorted(ranks)
