"""Every step's bands at their limits and just outside."""

import pytest

from chairapp.judge.rim import STATIONS
from tests.judge.visits import FITTING, REQUIRED, fitting


def levels(visit, step):
    return {found["code"]: found["level"] for found in visit.judged()["steps"][step]["findings"]}


def everywhere(mm, **other):
    return {**dict.fromkeys(STATIONS, mm), **other}


def test_a_visit_in_which_everything_fits_is_ready():
    judged = fitting().judged()
    assert {step: judged["steps"][step]["verdict"] for step in judged["steps"]} == dict.fromkeys(
        judged["steps"], "fits"
    )
    assert judged["ready"] is True
    assert judged["todo"] == []


@pytest.mark.parametrize("item", [item for item in FITTING if not item.startswith(("record.agreement",))])
def test_a_required_item_never_answered_leaves_its_step_open(item):
    visit = fitting(**{item.replace(".", "__"): None})
    steps = visit.judged()["steps"]
    step = visit.state() and next(s["id"] for s in visit.sequence["steps"] if item in [i["id"] for i in s["items"]])
    assert steps[step]["verdict"] == "open"


def test_what_is_left_to_do_is_named_in_order():
    judged = fitting(display__rest=None, marks__placed=None, lower__commissure="above").judged()
    assert judged["todo"] == ["display", "lower", "marks"]
    assert judged["ready"] is False


def test_the_record_comes_after_being_ready():
    judged = fitting(record__count=None).judged()
    assert judged["steps"]["record"]["verdict"] == "open"
    assert judged["ready"] is True


@pytest.mark.parametrize(
    ("changed", "verdict", "codes"),
    [
        ({"seating__upright": "reclined"}, "unsure", {"reclined": "unsure"}),
        ({"seating__glasses": "on"}, "unsure", {"glasses_on": "unsure"}),
        ({"seating__glasses": "not_worn"}, "fits", {}),
        ({"seating__points": "under_nose_and_chin"}, "fits", {}),
        ({"seating__tragus": "upper"}, "fits", {"tragus_upper": "note"}),
        ({"seating__tragus": "lower"}, "fits", {}),
        ({"seating__stable": "rocks"}, "unsure", {"base_rocks": "unsure"}),
        ({"seating__stable": "sore"}, "unsure", {"base_sore": "unsure"}),
    ],
)
def test_seating(changed, verdict, codes):
    visit = fitting(**changed)
    assert visit.verdict("seating") == verdict
    assert levels(visit, "seating") == codes


@pytest.mark.parametrize(
    ("item", "low", "high"),
    [
        ("bench.upper_front_height", 20, 24),
        ("bench.lower_front_height", 16, 20),
        ("bench.front_width", 5, 8),
        ("bench.back_width", 8, 12),
        ("bench.upper_inclination", 75, 85),
    ],
)
def test_measures_on_the_bench_are_notes_and_never_block(item, low, high):
    for value, noted in ((low, False), (high, False), (low - 0.5, True), (high + 0.5, True)):
        visit = fitting().give({item: [value]})
        assert levels(visit, "bench") == ({"outside": "note"} if noted else {})
        assert visit.verdict("bench") == "fits"


@pytest.mark.parametrize(
    ("changed", "verdict", "code"),
    [
        ({"bench__sealed": "wax_on_fitting_surface"}, "off", "not_sealed"),
        ({"bench__sealed": "gaps"}, "off", "seal_gaps"),
        ({"bench__heel": "upper_too_far"}, "unsure", "heel_upper"),
        ({"bench__heel": "lower_too_far"}, "unsure", "heel_lower"),
        ({"bench__lower_inclination": "inward"}, "fits", "choice"),
    ],
)
def test_sealing_and_heels_on_the_bench(changed, verdict, code):
    visit = fitting(**changed)
    assert visit.verdict("bench") == verdict
    assert visit.codes("bench", notes=True) == [code]


@pytest.mark.parametrize(("support", "code"), [("collapsed", "lip_collapsed"), ("strained", "lip_strained")])
def test_a_lip_not_supported_is_off(support, code):
    visit = fitting(lip__support=support)
    assert levels(visit, "lip") == {code: "off"}


@pytest.mark.parametrize(("angle", "code"), [(80, None), (115, None), (79, "angle_closed"), (116, "angle_open")])
def test_the_nasolabial_angle_never_blocks(angle, code):
    visit = fitting(lip__nasolabial=[angle])
    assert levels(visit, "lip") == ({code: "note"} if code else {})
    assert visit.verdict("lip") == "fits"


def test_a_closed_angle_is_a_sign_of_too_little_height_until_the_vertical_dimension_fits():
    visit = fitting(lip__nasolabial=[75], vertical__occlusal=[64, 64, 64])
    assert levels(visit, "lip") == {"angle_closed_height": "note"}
    visit.accept("vertical")
    assert levels(visit, "lip") == {"angle_closed": "note"}


@pytest.mark.parametrize(
    ("rest", "fv", "verdict", "code"),
    [
        (1, "touches", "fits", None),
        (2, "touches", "fits", None),
        (1.5, "short", "unsure", "fv_short"),
        (1.5, "past", "unsure", "fv_past"),
        (0.999, "touches", "off", "display_short"),
        (0.5, "short", "off", "display_short"),
        (-1, "past", "unsure", "display_again"),
        (2.001, "touches", "off", "display_long"),
        (3, "short", "unsure", "display_again"),
        (3, "past", "off", "display_long"),
    ],
)
def test_display_and_fv_are_read_together(rest, fv, verdict, code):
    visit = fitting(display__rest=[rest], display__fv=fv)
    assert visit.verdict("display") == verdict
    assert visit.codes("display") == ([code] if code else [])


@pytest.mark.parametrize(("fv", "code"), [("touches", None), ("short", "fv_short"), ("past", "fv_past")])
def test_fv_is_said_before_display_is_measured_and_the_step_is_open(fv, code):
    visit = fitting(display__rest=None, display__fv=fv)
    assert visit.verdict("display") == "open"
    assert levels(visit, "display") == ({code: "unsure"} if code else {})


def test_display_readings_may_lie_a_millimetre_apart_and_no_more():
    assert fitting(display__rest=[1, 2, 1.5]).verdict("display") == "fits"
    visit = fitting(display__rest=[0.75, 2, 1.75])
    assert levels(visit, "display") == {"disagree": "unsure"}
    assert visit.judged()["steps"]["display"]["findings"][0]["value"] == 1.25


def test_only_the_latest_three_readings_can_disagree():
    assert fitting(display__rest=[4, 1.5, 1.5, 1.5]).codes("display") == ["display_long"]
    assert fitting(display__rest=[4, 0.5, 0.5, 1]).codes("display") == []


@pytest.mark.parametrize(
    ("item", "angle", "level"),
    [
        ("front", 2, None),
        ("front", -2, None),
        ("front", 2.001, "unsure"),
        ("front", -4, "unsure"),
        ("front", 4.001, "off"),
        ("right", 3, None),
        ("right", 3.001, "unsure"),
        ("right", -5, "unsure"),
        ("left", -5.001, "off"),
        ("left", -3, None),
    ],
)
def test_tilts_are_unsure_before_they_are_off(item, angle, level):
    visit = fitting(**{"plane__" + item: [angle]})
    assert levels(visit, "plane") == ({"tilt_" + item: level} if level else {})


@pytest.mark.parametrize(
    ("item", "angle", "lower", "mm"),
    [
        ("front", 5, "right", 2.974615),
        ("front", -5, "left", -2.974615),
        ("right", 6, "back", 2.942919),
        ("left", -6, "front", -2.942919),
    ],
)
def test_a_tilt_says_which_end_is_lower_and_what_it_makes_over_the_rim(item, angle, lower, mm):
    (found,) = fitting(**{"plane__" + item: [angle]}).judged()["steps"]["plane"]["findings"]
    assert found["params"] == {"lower": lower, "mm_over_rim": mm}


def test_by_eye_fits_with_a_note_and_a_number_of_the_same_round_beats_it():
    visit = fitting(plane__front="looks_parallel")
    assert visit.verdict("plane") == "fits"
    assert levels(visit, "plane") == {"by_eye": "note"}
    assert visit.judged()["derived"]["plane_front"] == {"value": None, "mm_over_rim": None}
    visit.give({"plane.front": [6]})
    assert levels(visit, "plane") == {"tilt_front": "off"}


def test_photograph_and_pad_that_differ_are_said():
    visit = fitting(plane__front=[1, {"photo": -1.5}, 1])
    assert levels(visit, "plane") == {"disagree": "unsure", "photo_differs": "note"}
    assert fitting(plane__front=[1, {"photo": -1}]).codes("plane", notes=True) == []


@pytest.mark.parametrize(
    ("changed", "code", "level"),
    [
        ({"lower__commissure": "above"}, "commissure_above", "off"),
        ({"lower__commissure": "below"}, "commissure_below", "off"),
        ({"lower__pad_right": "above"}, "pad_above", "off"),
        ({"lower__pad_right": "upper_third"}, "pad_upper_third", "unsure"),
        ({"lower__pad_left": "lower_third"}, "pad_lower_third", "unsure"),
        ({"lower__pad_left": "below"}, "pad_below", "off"),
    ],
)
def test_the_lower_rim_by_its_landmarks(changed, code, level):
    visit = fitting(**changed)
    assert levels(visit, "lower") == {code: level}


def test_the_millimetres_at_the_corners_of_the_mouth_must_go_with_the_word():
    assert fitting(lower__commissure_mm=1).codes("lower", notes=True) == ["commissure_mm_differs"]
    visit = fitting(lower__commissure="above", lower__commissure_mm=1.5)
    (found,) = visit.judged()["steps"]["lower"]["findings"]
    assert found["params"] == {"mm": 1.5}


@pytest.mark.parametrize(
    ("gaps", "level", "codes"),
    [
        (everywhere(2), None, {}),
        (everywhere(1.5), None, {}),
        (everywhere(3), None, {}),
        (everywhere(2, front=1.25), "off", {"overjet_short": ["front"]}),
        (everywhere(2, front=0), "off", {"overjet_short": ["front"]}),
        (everywhere(2, molar_left=0), "off", {"crossbite": ["molar_left"]}),
        (everywhere(2, molar_left=0.25), "off", {"overjet_short": ["molar_left"]}),
        (everywhere(2, canine_right=3.25), "unsure", {"overjet_wide": ["canine_right"]}),
        (
            everywhere(2, front=1, molar_right=-1, canine_left=5),
            "off",
            {"overjet_short": ["front"], "crossbite": ["molar_right"], "overjet_wide": ["canine_left"]},
        ),
    ],
)
def test_overjet_all_round_is_decided_by_the_worst_station(gaps, level, codes):
    visit = fitting(overjet__gap=gaps)
    step = visit.judged()["steps"]["overjet"]
    assert step["verdict"] == (level or "fits")
    assert {found["code"]: found["params"]["where"] for found in step["findings"]} == codes


def test_stations_that_lack_leave_the_step_open():
    gaps = everywhere(2)
    del gaps["premolar_left"]
    visit = fitting(overjet__gap=gaps, contact__gap={"front": 0})
    assert visit.verdict("overjet") == "open"
    assert visit.state()["items"]["overjet.gap"]["missing"] == ["premolar_left"]
    assert visit.verdict("contact") == "open"


@pytest.mark.parametrize("side", ["right", "left", "both"])
def test_heels_that_touch_are_off_and_cap_contact_and_vertical(side):
    visit = fitting(bases__closing=side)
    assert levels(visit, "bases") == {"heels_closing": "off"}
    assert levels(visit, "contact") == {"capped": "unsure"}
    assert levels(visit, "vertical") == {"capped": "unsure"}
    forward = fitting(bases__forward=side)
    assert levels(forward, "bases") == {"heels_forward": "off"}
    assert forward.verdict("contact") == "fits"


@pytest.mark.parametrize(
    ("changed", "capped"),
    [
        ({"seating__upright": "reclined"}, ["display", "lower", "vertical"]),
        ({"seating__glasses": "on"}, ["plane"]),
        ({"seating__stable": "rocks"}, ["contact", "vertical", "marks"]),
        ({"contact__position": "wanders"}, ["contact", "vertical", "marks", "record"]),
        ({"bases__closing": "left"}, ["contact", "vertical"]),
    ],
)
def test_a_cap_lowers_fits_to_unsure_elsewhere(changed, capped):
    steps = fitting(**changed).judged()["steps"]
    own = {"seating": "seating", "contact": "contact", "bases": "bases"}[next(iter(changed)).split("__")[0]]
    lowered = [step for step in steps if steps[step]["verdict"] == "unsure"]
    assert [step for step in lowered if step != own or own in capped] == capped


def test_a_cap_changes_nothing_but_fits():
    visit = fitting(seating__upright="reclined", display__rest=[5], lower__commissure=None)
    assert visit.verdict("display") == "off"
    assert visit.verdict("lower") == "open"


@pytest.mark.parametrize(
    ("changed", "verdict", "code"),
    [
        ({"record__count": 0, "record__agreement": None}, "off", "record_none"),
        ({"record__count": 1, "record__agreement": None}, "fits", "record_few"),
        ({"record__count": 2, "record__agreement": [0.5]}, "fits", "record_few"),
        ({"record__agreement": [0.75]}, "off", "record_disagree"),
        ({"lines__midline": "not_marked"}, "off", "midline_not_marked"),
        ({"lines__canines": "not_marked"}, "off", "canines_not_marked"),
        ({"lines__midline_shift": -1}, "fits", "midline_shift"),
        ({"lines__midline_shift": 0.5}, "fits", None),
    ],
)
def test_the_record_and_the_lines(changed, verdict, code):
    visit = fitting(**changed)
    assert visit.verdict("record") == verdict
    assert visit.codes("record", notes=True) == ([code] if code else [])


def test_agreement_is_wanted_from_two_records_on():
    assert fitting(record__count=2, record__agreement=None).verdict("record") == "open"
    assert fitting(record__count=1, record__agreement=None).verdict("record") == "fits"


def test_a_midline_shift_says_the_patients_side():
    (found,) = fitting(lines__midline_shift=1.5).judged()["steps"]["record"]["findings"]
    assert (found["value"], found["params"]) == (1.5, {"side": "left"})


def test_the_calculators_give_notes_with_their_own_warnings():
    visit = fitting(teeth__curve=52, teeth__bizygomatic=136, teeth__inner_canthal=28.7)
    judged = visit.judged()
    assert judged["derived"]["central_incisor"] == {"bizygomatic": 8.5, "inner_canthal": 8.8683}
    assert levels(visit, "record") == dict.fromkeys(
        ["front_teeth_width", "incisor_bizygomatic", "incisor_inner_canthal"], "note"
    )


def test_a_box_packed_without_a_disinfectant_is_said():
    visit = fitting()
    visit.add("answer", "packing.items", ["upper_rim"])
    assert levels(visit, "packing") == {"not_disinfected": "note"}
    visit.give({"packing.agent": "high"})
    assert levels(visit, "packing") == {}


def test_old_dentures_are_the_baseline():
    visit = fitting().give({"existing.rest": [69], "existing.occlusal": [62], "existing.display": [0.5]})
    derived = visit.judged()["derived"]
    assert derived["existing_interocclusal_distance"] == 7.0
    assert derived["ovd_change"] == 5.166667
    assert derived["display_change"] == 1.0
    assert derived["distance_change"] == -4.0
    assert levels(visit, "vertical") == {"ovd_raised": "note"}
    assert visit.verdict("vertical") == "fits"


def test_a_rise_of_just_the_limit_is_not_cautioned():
    visit = fitting(vertical__occlusal=[67, 67, 67]).give({"existing.occlusal": [63]})
    assert visit.codes("vertical", notes=True) == []


def test_dentures_not_worn_are_no_baseline():
    visit = fitting().give({"existing.occlusal": [60], "existing.worn": "none"})
    assert visit.judged()["derived"]["ovd_change"] is None


def test_what_the_old_dentures_do_to_the_lip_is_noted():
    assert fitting(existing__support="collapsed").codes("existing", notes=True) == ["existing_collapsed"]


def test_every_required_step_counts_and_no_other():
    steps = fitting().judged()["steps"]
    assert [step for step in steps if steps[step]["required"]] == [*REQUIRED, "record"]
