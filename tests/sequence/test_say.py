"""Findings and wax plans in words."""

import pytest

from chairapp.judge.codes import CODES
from chairapp.judge.rim import STATIONS
from chairapp.sequence import document, jaw_relation, say
from chairapp.sequence.say import listed, places
from chairapp.sequence.view import plan_words

DOC = document(jaw_relation())


def finding(code, item=None, level="off", value=None, unit=None, band=None, **params):
    return {"code": code, "item": item, "level": level, "value": value, "unit": unit, "band": band, "params": params}


def said(*args, **more):
    return say(DOC, finding(*args, **more), "en")["text"]


def test_a_value_its_unit_and_its_band_are_put_in():
    text = said("display_long", "display.rest", "off", 3.5, "mm", [1, 2], fv=None)
    assert text == "The rim shows 3.5 mm at rest, more than 1 to 2 mm."


def test_an_open_side_of_a_band_is_said_as_one():
    assert said("outside", "record.count", "off", 0, None, [1, None]) == "Number of records is 0, outside at least 1."


def test_a_number_is_shown_without_the_noise_of_floats():
    assert "shows 0.3 mm" in said("display_short", "display.rest", "off", 0.1 + 0.2, "mm", [1, 2], fv=None)


def test_a_tilt_names_the_lower_end_without_a_sign():
    text = said("tilt_front", "plane.front", "off", -4.75, "deg", [-2, 2], lower="left", mm_over_rim=-2.83)
    assert "the left is lower by 4.75°, about 2.83 mm over the rim" in text


def test_degrees_stand_right_after_their_number():
    text = said("outside", "bench.upper_inclination", "note", 90, "deg", [75, 85])
    assert text == "Upper inclination is 90°, outside 75 to 85°."


def test_the_level_picks_its_own_wording():
    off = said("tilt_front", "plane.front", "off", 5, "deg", [-2, 2], lower="right", mm_over_rim=3)
    unsure = said("tilt_front", "plane.front", "unsure", 3, "deg", [-2, 2], lower="right", mm_over_rim=2)
    assert "nearly everyone would see it" in off
    assert "a practised eye would see it" in unsure


@pytest.mark.parametrize(
    ("fv", "display", "words"),
    [("past", "short", "At rest the rim looks too short"), ("short", "long", "At rest the rim looks too long")],
)
def test_display_and_speech_that_contradict_each_other_are_said_the_right_way_round(fv, display, words):
    assert said("display_again", "display.rest", "unsure", 3, "mm", [1, 2], fv=fv, display=display).startswith(words)


def test_readings_that_will_not_settle_it_get_other_advice():
    params = {"low": 1.9, "high": 4.2, "low90": 2.0, "high90": 4.1}
    some = say(DOC, finding("close", "vertical.rest", "unsure", 3.5, "mm", [2, 4], more=2, **params), "en")
    none = say(DOC, finding("close", "vertical.rest", "unsure", 3.9, "mm", [2, 4], more=None, **params), "en")
    assert some["advice"] == "Take 2 more of each: if they agree as well as so far, that settles it."
    assert none["advice"] == "Readings will not settle it: accept, or move the height to the middle."


def test_a_cap_names_the_answer_it_comes_from():
    text = said("capped", "bases.closing", "unsure", "right")
    assert text == "This step cannot fit while “Heels when closing” reads “Right heel touches”."


def test_signs_against_the_distance_are_strung_together():
    text = said("contradiction", "vertical.rest", "unsure", 3, "mm", [2, 4], signs=["s_touch", "m_open"])
    assert text.endswith("does not go with it: the rims touch on S and the lips stay open after M.")


def test_a_source_is_named_where_there_is_one():
    assert say(DOC, finding("ovd_raised", value=5, limit=4), "en")["source"] == "Burnett & Clifford 1992"
    assert say(DOC, finding("by_eye", "plane.front", "note"), "en")["source"] == ""


def test_a_code_without_words_is_said_bare_and_never_dropped():
    assert say(DOC, finding("of_a_newer_judge"), "en") == {"text": "of_a_newer_judge", "advice": "", "source": ""}


def test_english_stands_in_for_what_a_language_lacks():
    doc = document(jaw_relation())
    doc["texts"]["pt"] = {"finding.glasses_on": "Com óculos."}
    words = say(doc, finding("glasses_on", "seating.glasses", "unsure", "on"), "pt")
    assert words["text"] == "Com óculos."
    assert words["advice"] == "Take the glasses off before you judge the plane."
    assert say(doc, finding("glasses_on", "seating.glasses", "unsure", "on"), "xx")["text"].startswith("With the")


def test_what_is_put_in_is_not_looked_at_again():
    assert "“{unit}”" in said("lapsed", None, "note", "{unit}", author="x", at="2026-11-25T09:00:00Z")


@pytest.mark.parametrize("code", CODES)
def test_no_placeholder_is_left_open_whatever_the_code(code):
    samples = {
        "where": ["front"],
        "signs": ["s_touch"],
        "items": ["display.rest"],
        "latest": [1, 2],
        "side": "right",
        "lower": "back",
        "rim": "upper",
        "surface": "height",
        "author": "clin-1",
        "at": "2026-11-25T09:30:00Z",
        "cause": "seating.points",
        "stands": "above",
        "choice": "x",
    }
    params = {name: samples.get(name, 1) for name in CODES[code]}
    words = say(DOC, finding(code, "lower.pad_right", "off", 1.5, "mm", [1, 2], **params), "en")
    assert "{" not in "".join(words.values())
    assert words["text"]
    assert words["advice"]


@pytest.mark.parametrize(
    ("where", "words"),
    [
        (["front"], "the front"),
        (["canine_right", "front", "canine_left"], "the front and both canines"),
        (["molar_right", "molar_left"], "the molars of both sides"),
        (["molar_right", "premolar_right"], "the right premolars and molars"),
        (["molar_right", "premolar_right", "canine_right"], "the whole right side"),
        (["front", "molar_left", "premolar_left"], "the front and the left premolars and molars"),
        (["premolar_right", "premolar_left", "molar_right", "molar_left"], "the premolars and molars of both sides"),
        (STATIONS, "all seven places"),
        (["right", "back"], "the right and the back"),
        ([], ""),
    ],
)
def test_places_are_named_as_a_technician_would(where, words):
    assert places(DOC, "en", where) == words


def test_names_are_strung_together_with_commas_and_an_and():
    assert [listed(DOC, "en", names) for names in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]


def plan(**more):
    return {"why": [], "runs": [], "lower": {}, "nothing": False, "notes": [], "conflicts": [], **more}


def run(rim, mm, *stations, surface="height"):
    return {"rim": rim, "surface": surface, "mm": mm, "stations": list(stations)}


def words_of(**more):
    steps = more.pop("steps", {})
    steps = {step: {"findings": steps.get(step, [])} for step in ("display", "plane", "contact", "vertical")}
    return plan_words(DOC, {"plan": plan(**more), "steps": steps}, "en")


def test_the_plan_says_the_upper_rim_first_and_names_equal_changes_together():
    runs = [
        run("upper", -1.5, "front"),
        run("lower", 1, "molar_right"),
        run("lower", -0.5, "front"),
        run("lower", 1, "molar_left"),
    ]
    assert words_of(runs=runs, lower={"front": -0.5})[:2] == [
        "Upper rim: take 1.5 mm off at the front.",
        "Lower rim: add 1 mm at the molars of both sides; take 0.5 mm off at the front.",
    ]


def test_the_labial_face_is_a_direction_only():
    runs = [run("upper", 1, "canine_right", "front", "canine_left", surface="labial")]
    assert words_of(runs=runs) == [
        "Upper rim, labial face: add 1 mm at the front and both canines, as a direction only; look at the lip again."
    ]


def test_nothing_to_change_is_said():
    assert words_of(nothing=True, lower={"front": 0}) == ["Nothing to add and nothing to take off."]


def test_what_takes_the_ground_from_the_readings_is_said_before_the_changes_and_once():
    capped = finding("capped", "bases.closing", "unsure", "left")
    words = words_of(runs=[run("lower", 1, "front")], steps={"contact": [capped], "vertical": [capped]})
    assert words == [
        "Put right first: “Heels when closing” reads “Left heel touches”.",
        "Lower rim: add 1 mm at the front.",
    ]
