"""The sequence's data, table by table, as the specification of the steps gives it."""

import pytest

from chairapp.judge.rim import STATIONS
from chairapp.sequence import digest, document, jaw_relation

DOC = document(jaw_relation())
STEPS = {step["id"]: step for step in DOC["steps"]}
ITEMS = {item["id"]: item for step in DOC["steps"] for item in step["items"]}


def test_the_fifteen_steps_come_in_their_order():
    assert list(STEPS) == [
        "seating",
        "existing",
        "bench",
        "lip",
        "display",
        "plane",
        "lower",
        "contact",
        "vertical",
        "overjet",
        "bases",
        "marks",
        "record",
        "review",
        "packing",
    ]


# item: kind, required, choices or None
ASKED = {
    "seating.upright": ("choice", True, "upright reclined"),
    "seating.glasses": ("choice", True, "off not_worn on"),
    "seating.points": ("choice", True, "tip_and_chin under_nose_and_chin"),
    "seating.tragus": ("choice", True, "upper middle lower"),
    "seating.stable": ("choice", True, "stable rocks sore"),
    "existing.worn": ("choice", False, "none both upper lower"),
    "existing.rest": ("reading", False, None),
    "existing.occlusal": ("reading", False, None),
    "existing.display": ("reading", False, None),
    "existing.support": ("choice", False, "supported collapsed strained"),
    "existing.note": ("text", False, None),
    "bench.upper_front_height": ("reading", False, None),
    "bench.lower_front_height": ("reading", False, None),
    "bench.front_width": ("reading", False, None),
    "bench.back_width": ("reading", False, None),
    "bench.upper_inclination": ("reading", False, None),
    "bench.lower_inclination": ("choice", False, "forward upright inward"),
    "bench.sealed": ("choice", True, "sealed wax_on_fitting_surface gaps"),
    "bench.heel": ("choice", True, "short upper_too_far lower_too_far"),
    "lip.support": ("choice", True, "supported collapsed strained"),
    "lip.nasolabial": ("reading", False, None),
    "display.rest": ("reading", True, None),
    "display.fv": ("choice", True, "touches short past"),
    "plane.front": ("reading", True, None),
    "plane.right": ("reading", True, None),
    "plane.left": ("reading", True, None),
    "lower.commissure": ("choice", True, "level above below"),
    "lower.commissure_mm": ("number", False, None),
    "lower.pad_right": ("choice", True, "above upper_third two_thirds half lower_third below"),
    "lower.pad_left": ("choice", True, "above upper_third two_thirds half lower_third below"),
    "contact.position": ("choice", True, "same wanders"),
    "contact.gap": ("stations", True, None),
    "vertical.rest_bases": ("choice", True, "none upper lower both"),
    "vertical.rest": ("reading", True, None),
    "vertical.occlusal": ("reading", True, None),
    "vertical.s_space": ("reading", False, None),
    "vertical.s_sound": ("choice", True, "clear touch wide"),
    "vertical.m_rest": ("choice", True, "easy strained open"),
    "vertical.face": ("choice", False, "balanced collapsed strained"),
    "overjet.gap": ("stations", True, None),
    "bases.closing": ("choice", True, "clear right left both"),
    "bases.forward": ("choice", True, "clear right left both"),
    "marks.placed": ("stations", True, None),
    "marks.misfit": ("stations", True, None),
    "marks.one_position": ("choice", True, "one slides rocks"),
    "record.count": ("number", True, None),
    "record.agreement": ("reading", False, None),
    "record.method": ("text", False, None),
    "lines.midline": ("choice", True, "marked not_marked"),
    "lines.midline_shift": ("number", False, None),
    "lines.canines": ("choice", True, "marked not_marked"),
    "lines.high_lip": ("number", False, None),
    "teeth.shade": ("text", False, None),
    "teeth.mould": ("text", False, None),
    "teeth.curve": ("number", False, None),
    "teeth.bizygomatic": ("number", False, None),
    "teeth.inner_canthal": ("number", False, None),
    "packing.items": (
        "list",
        False,
        "upper_rim lower_rim upper_cast lower_cast record face_bow photographs shade_tab",
    ),
    "packing.agent": ("choice", False, "intermediate high other"),
    "packing.minutes": ("number", False, None),
    "packing.note": ("text", False, None),
}


def test_every_item_is_there_and_no_other():
    assert list(ITEMS) == list(ASKED)


@pytest.mark.parametrize("item", ASKED)
def test_each_item_is_asked_as_specified(item):
    kind, required, choices = ASKED[item]
    assert (ITEMS[item]["kind"], ITEMS[item]["required"]) == (kind, required)
    assert ITEMS[item]["choices"] == (choices.split() if choices else [])


# item: unit, step of the pad, band, tolerated, spread, readings needed
MEASURED = {
    "existing.rest": ("mm", 0.5, None, None, None, 1),
    "existing.occlusal": ("mm", 0.5, None, None, None, 1),
    "existing.display": ("mm", 0.5, None, None, None, 1),
    "bench.upper_front_height": ("mm", 0.5, [20, 24], None, None, 1),
    "bench.lower_front_height": ("mm", 0.5, [16, 20], None, None, 1),
    "bench.front_width": ("mm", 0.5, [5, 8], None, None, 1),
    "bench.back_width": ("mm", 0.5, [8, 12], None, None, 1),
    "bench.upper_inclination": ("deg", 1, [75, 85], None, None, 1),
    "lip.nasolabial": ("deg", 1, [80, 115], None, None, 1),
    "display.rest": ("mm", 0.5, [1, 2], None, 1, 1),
    "plane.front": ("deg", 0.5, [-2, 2], [-4, 4], 2, 1),
    "plane.right": ("deg", 0.5, [-3, 3], [-5, 5], 2, 1),
    "plane.left": ("deg", 0.5, [-3, 3], [-5, 5], 2, 1),
    "contact.gap": ("mm", 0.25, [0, 0], None, None, 1),
    "vertical.rest": ("mm", 0.5, None, None, 1.5, 3),
    "vertical.occlusal": ("mm", 0.5, None, None, 1.5, 3),
    "vertical.s_space": ("mm", 0.5, [1, 2], [1, 3], None, 1),
    "overjet.gap": ("mm", 0.5, [1.5, 3], [1.5, None], None, 1),
    "marks.misfit": ("mm", 0.25, [-0.5, 0.5], None, None, 1),
    "record.agreement": ("mm", 0.25, [0, 0.5], None, None, 1),
}


@pytest.mark.parametrize("item", MEASURED)
def test_each_measure_is_held_against_its_own_band(item):
    one = ITEMS[item]
    found = tuple(one[name] for name in ("unit", "pad", "band", "tolerated", "spread", "needed"))
    assert found == MEASURED[item]


def test_no_other_item_has_a_band_but_the_number_of_records():
    banded = {item for item in ITEMS if ITEMS[item]["band"]}
    assert banded - set(MEASURED) == {"record.count"}
    assert ITEMS["record.count"]["band"] == [1, None]


def test_the_starting_values_of_the_rims_are_22_18_7_10_mm_and_80_degrees():
    starts = {item: ITEMS[item]["start"] for item in ITEMS if ITEMS[item]["start"] is not None}
    assert starts == {
        "bench.upper_front_height": 22,
        "bench.lower_front_height": 18,
        "bench.front_width": 7,
        "bench.back_width": 10,
        "bench.upper_inclination": 80,
    }


def test_everything_measured_has_a_generous_possible_range_around_its_bands():
    for item in ITEMS.values():
        if item["kind"] in ("reading", "number") or (item["kind"] == "stations" and item["unit"]):
            low, high = item["possible"]
            assert low < high
            for band in filter(None, (item["band"], item["tolerated"])):
                assert band[0] is None or band[0] >= low
                assert band[1] is None or band[1] <= high


# what fits, and what is unsure; the rest is off
FITS = {
    "seating.upright": ("upright", "reclined"),
    "seating.glasses": ("off not_worn", "on"),
    "seating.points": ("tip_and_chin under_nose_and_chin", ""),
    "seating.tragus": ("upper middle lower", ""),
    "seating.stable": ("stable", "rocks sore"),
    "bench.sealed": ("sealed", ""),
    "bench.heel": ("short", "upper_too_far lower_too_far"),
    "lip.support": ("supported", ""),
    "display.fv": ("touches", ""),
    "lower.commissure": ("level", ""),
    "lower.pad_right": ("half two_thirds", "lower_third upper_third"),
    "lower.pad_left": ("half two_thirds", "lower_third upper_third"),
    "contact.position": ("same", "wanders"),
    "vertical.s_sound": ("clear", "touch wide"),
    "vertical.m_rest": ("easy", "strained open"),
    "bases.closing": ("clear", ""),
    "bases.forward": ("clear", ""),
    "marks.one_position": ("one", ""),
    "lines.midline": ("marked", ""),
    "lines.canines": ("marked", ""),
}


@pytest.mark.parametrize("item", FITS)
def test_each_choice_fits_is_unsure_or_is_off_as_specified(item):
    fits, unsure = FITS[item]
    assert ITEMS[item]["fits"] == fits.split()
    assert ITEMS[item]["unsure"] == unsure.split()


def test_every_listed_choice_is_one_that_can_be_chosen():
    for item in ITEMS.values():
        assert set(item["fits"]) | set(item["unsure"]) <= set(item["choices"])


def test_contact_and_overjet_want_all_seven_stations():
    assert {item for item in ITEMS if ITEMS[item]["all_stations"]} == {"contact.gap", "overjet.gap"}


def test_only_the_plane_may_be_judged_by_eye_and_angles_may_come_from_a_photograph():
    assert {item for item in ITEMS if ITEMS[item]["by_eye"]} == {"plane.front", "plane.right", "plane.left"}
    photos = {item: ITEMS[item]["photo"] for item in ITEMS if ITEMS[item]["photo"]}
    assert photos == {
        "lip.nasolabial": "profile",
        "plane.front": "line",
        "plane.right": "line",
        "plane.left": "line",
    }


def test_the_heels_are_asked_first_thing_in_the_contact_step():
    assert {step: STEPS[step]["first"] for step in STEPS if STEPS[step]["first"]} == {"contact": ["bases.closing"]}


def test_none_skips_the_old_dentures_in_one_tap():
    for item in STEPS["existing"]["items"]:
        assert item["id"] == "existing.worn" or "none" in item["unless"]["existing.worn"]


def test_agreement_is_required_from_two_records_on():
    assert ITEMS["record.agreement"]["required_from"] == {"record.count": 2}


def test_guidance_is_never_required():
    assert not [item for item in ITEMS if ITEMS[item]["guidance"] and ITEMS[item]["required"]]


LINES = ["lines.midline", "lines.midline_shift", "lines.canines", "lines.high_lip"]


@pytest.mark.parametrize(
    ("rim", "surface", "stale", "at_stations"),
    [
        ("upper", "height", ["display", "plane", "contact", "vertical", "bases", "overjet", "marks", *LINES], []),
        (
            "upper",
            "labial",
            ["lip", "display", "overjet", "vertical.m_rest", "vertical.s_sound", "vertical.s_space"],
            ["marks", *LINES],
        ),
        ("lower", "height", ["lower", "contact", "vertical", "bases", "overjet", "marks"], []),
        ("lower", "labial", ["overjet", "display.fv", "vertical.m_rest"], ["marks"]),
        (None, "base", ["contact", "vertical", "bases", "overjet", "marks"], []),
    ],
)
def test_an_adjustment_disturbs_what_the_table_says(rim, surface, stale, at_stations):
    [row] = [row for row in DOC["disturbs"] if (row["rim"], row["surface"]) == (rim, surface) and not row["voids"]]
    assert (row["stale"], row["at_stations"], row["added_only"]) == (stale, at_stations, False)


def test_wax_added_anywhere_asks_for_the_seal_again():
    assert [row["stale"] for row in DOC["disturbs"] if row["added_only"]] == [["bench.sealed"]]


def test_height_and_base_void_a_record_and_any_adjustment_the_signature():
    voids = {(row["rim"], row["surface"]): row["voids"] for row in DOC["disturbs"] if row["voids"]}
    assert voids == {(None, "height"): ["record"], (None, "base"): ["record"], (None, None): ["signature"]}


def test_a_changed_answer_starts_new_rounds():
    assert {row["item"]: row["starts"] for row in DOC["rounds"]} == {
        "seating.upright": ["display", "lower", "vertical"],
        "seating.glasses": ["plane.front"],
        "seating.points": ["vertical.rest", "vertical.occlusal"],
        "seating.tragus": ["plane.right", "plane.left"],
        # read with something else in the mouth, rest is another rest: never mixed in one mean
        "vertical.rest_bases": ["vertical.rest"],
    }


def test_what_caps_what():
    assert {row["item"]: (row["values"], row["steps"]) for row in DOC["caps"]} == {
        "seating.upright": (["reclined"], ["display", "lower", "vertical"]),
        "seating.glasses": (["on"], ["plane"]),
        "seating.stable": (["rocks", "sore"], ["contact", "vertical", "marks"]),
        "contact.position": (["wanders"], ["contact", "vertical", "marks", "record"]),
        "bases.closing": (["right", "left", "both"], ["contact", "vertical"]),
    }


def test_every_name_in_the_rules_is_a_step_or_an_item():
    known = set(STEPS) | set(ITEMS)
    for row in DOC["disturbs"]:
        assert {*row["stale"], *row["at_stations"]} <= known
    for row in DOC["rounds"]:
        assert {row["item"], *row["starts"]} <= known
    for row in DOC["caps"]:
        assert {row["item"], *row["steps"]} <= known
        assert set(row["values"]) <= set(ITEMS[row["item"]]["choices"])
    for item in ITEMS.values():
        assert set(item["at"]) <= set(STATIONS)
        for other, values in item["unless"].items():
            assert set(values) <= set(ITEMS[other]["choices"])


def test_the_numbers_that_belong_to_no_item():
    assert DOC["bands"] == {"interocclusal_distance": [2, 4]}
    assert DOC["settings"] == {
        "adjustment.possible": 20,
        "contact.plane_fit": 0.85,
        "existing.ovd_rise": 4,
        "lines.shift_note": 1,
        "marks.misfit": 0.5,
        "marks.spread": 0.4,
        "marks.turn": 3,
        "marks.left_over": 0.25,
        "plane.span_front": 34,
        "plane.span_side": 28,
        "record.advised": 3,
        "vertical.too_high": 1,
        "plan.display": 1.5,
        "plan.tilt": 0,
        "plan.distance": 3,
        "plan.labial": 1,
        "plan.shown_step": 0.5,
        "plan.two_rounds": 3,
        "plan.conflict": 0.5,
        "plan.conflict_level": 1.5,
        "plan.overjet": 0.4,
        "hinge.skin_to_rim.tip_and_chin": 0.75,
        "hinge.skin_to_rim.under_nose_and_chin": 0.8,
    }


def test_the_document_is_addressed_by_what_it_says():
    again = document(jaw_relation())
    assert digest(again) == digest(DOC)
    again["steps"][4]["items"][0]["band"] = [1, 2.5]
    assert digest(again) != digest(DOC)
