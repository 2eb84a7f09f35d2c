"""What holds for any visit: order changes nothing, mirrors mirror, worse is never better, odd input is named."""

import copy
import random
import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chairapp.judge import judge, judge_state, settle
from chairapp.judge.errors import InputError
from chairapp.judge.rim import STATIONS
from tests.judge.random_visits import random_visit
from tests.judge.visits import FITTING, SEQUENCE, Visit, fitting

MANY = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
RANK = {"fits": 0, "unsure": 1, "off": 2}


@MANY
@given(seed=st.integers(0, 10**6), shuffle=st.randoms())
def test_entries_in_any_order_and_any_number_give_the_same(seed, shuffle):
    entries = random_visit(random.Random(seed)).entries
    again = entries + shuffle.sample(entries, shuffle.randint(0, len(entries)))
    shuffle.shuffle(again)
    again = copy.deepcopy(again)
    assert settle(SEQUENCE, again) == settle(SEQUENCE, entries)
    assert judge(SEQUENCE, again) == judge(SEQUENCE, entries)


@MANY
@given(seed=st.integers(0, 10**6))
def test_an_already_settled_state_gives_the_same_verdict_and_nothing_is_changed(seed):
    entries = random_visit(random.Random(seed)).entries
    before = copy.deepcopy(entries)
    state = settle(SEQUENCE, entries)
    kept = copy.deepcopy(state)
    assert judge_state(SEQUENCE, state) == judge(SEQUENCE, entries)
    assert state == kept
    assert entries == before


# ---- mirrors


def swapped(name):
    if not isinstance(name, str):
        return name
    return re.sub(r"(?<![a-z])(right|left)$", lambda side: {"right": "left", "left": "right"}[side[0]], name)


def mirrored_entry(entry):
    other = copy.deepcopy(entry)
    other["item"] = swapped(entry["item"])
    other["value"] = mirrored_value(entry["item"], entry["kind"], entry["value"])
    return other


def mirrored_value(item, kind, value):
    if value is None:
        return None
    if item == "plane.front" and value != "looks_parallel":
        return {"photo": -value["photo"]} if isinstance(value, dict) else -value
    if item == "lines.midline_shift":
        return -value
    if item == "marks.misfit":
        return {swapped(s): -mm if s == "front" else mm for s, mm in value.items()}
    if kind == "adjustment":
        return dict(value, stations={swapped(s): mm for s, mm in value["stations"].items()})
    if kind == "acceptance":
        return mirrored_acceptance(item, value)
    if isinstance(value, dict) and kind == "answer":
        return {swapped(s): mm for s, mm in value.items()}
    return swapped(value) if kind == "answer" else value


def mirrored_acceptance(step, value):
    sign = {"tilt_front": -1, "midline_shift": -1}
    codes = []
    for code, number in value["codes"]:
        # which of two equally bad marks is named depends on the side one starts from: accept either
        both = [number, -number] if code == "marks_misfit" else [number]
        codes += [[swapped(code), swapped(n) if isinstance(n, str) else n and n * sign.get(code, 1)] for n in both]
    return dict(value, codes=codes)


def mirrored_plan(changes):
    return {swapped(station): mm for station, mm in changes.items()}


@MANY
@given(seed=st.integers(0, 10**6))
def test_a_mirrored_visit_gives_the_mirrored_verdict_and_plan(seed):
    entries = [e for e in random_visit(random.Random(seed)).entries if e["kind"] not in ("acceptance", "signature")]
    here = judge(SEQUENCE, entries)
    there = judge(SEQUENCE, [mirrored_entry(entry) for entry in entries])
    for step in here["steps"]:
        assert there["steps"][step]["verdict"] == here["steps"][step]["verdict"], step
        codes = sorted(swapped(f["code"]) for f in here["steps"][step]["findings"])
        assert sorted(f["code"] for f in there["steps"][step]["findings"]) == codes
    for rim in ("upper", "lower"):
        assert there["plan"][rim] == pytest.approx(mirrored_plan(here["plan"][rim]), abs=2e-6)
        assert there["plan"]["labial"][rim] == mirrored_plan(here["plan"]["labial"][rim])
    for name in ("dx", "turn_deg"):
        value = here["derived"]["marks_fit"][name]
        assert there["derived"]["marks_fit"][name] == (value if value is None else pytest.approx(-value, abs=2e-6))
    where = {swapped(place) for place in here["derived"]["contact_pattern"]["where"]}
    assert set(there["derived"]["contact_pattern"]["where"]) == where


def test_mirroring_twice_is_the_visit_itself():
    for seed in range(20):
        entries = [e for e in random_visit(random.Random(seed)).entries if e["kind"] != "acceptance"]
        assert [mirrored_entry(mirrored_entry(entry)) for entry in entries] == entries


# ---- a larger misfit never gives a better verdict


def assert_worse_is_not_better(step, visits):
    ranks = [RANK[visit.verdict(step)] for visit in visits]
    assert ranks == sorted(ranks)


@given(st.lists(st.floats(0, 12), min_size=2, max_size=6), st.sampled_from([-1, 1]))
@settings(max_examples=25, deadline=None)
def test_a_display_further_from_its_band_is_never_better(errors, side):
    middle = 1.5
    assert_worse_is_not_better("display", [fitting(display__rest=[middle + side * mm]) for mm in sorted(errors)])


@given(
    st.sampled_from(["front", "right", "left"]),
    st.lists(st.floats(0, 30), min_size=2, max_size=6),
    st.sampled_from([-1, 1]),
)
@settings(max_examples=25, deadline=None)
def test_a_greater_tilt_is_never_better(item, angles, side):
    assert_worse_is_not_better("plane", [fitting(**{"plane__" + item: [side * a]}) for a in sorted(angles)])


@given(st.lists(st.floats(0, 10), min_size=2, max_size=6), st.sampled_from([-1, 1]), st.sampled_from([0, 0.5, 1, 1.5]))
@settings(max_examples=25, deadline=None)
def test_a_distance_further_from_the_middle_is_never_better(errors, side, scatter):
    rest = [70 + scatter, 70, 70]
    middle = 70 + scatter / 3 - 3
    visits = [fitting(vertical__rest=rest, vertical__occlusal=[middle + side * mm] * 3) for mm in sorted(errors)]
    assert_worse_is_not_better("vertical", visits)


@given(st.sampled_from(STATIONS), st.lists(st.floats(0, 15), min_size=2, max_size=6), st.sampled_from([-1, 1]))
@settings(max_examples=25, deadline=None)
def test_an_overjet_further_from_its_band_is_never_better(station, errors, side):
    visits = [fitting(overjet__gap={**FITTING["overjet.gap"], station: 2 + side * mm}) for mm in sorted(errors)]
    assert_worse_is_not_better("overjet", visits)


@given(
    st.fixed_dictionaries({station: st.sampled_from([0, 0.25, 0.5, 1, 2]) for station in STATIONS}),
    # Smaller gaps nobody can read: some would count as closed, others not.
    st.lists(st.just(0) | st.floats(0.001, 4), min_size=2, max_size=5),
)
@settings(max_examples=25, deadline=None)
def test_gaps_opened_in_proportion_are_never_better(shape, factors):
    visits = [fitting(contact__gap={s: shape[s] * factor for s in STATIONS}) for factor in sorted(factors)]
    assert_worse_is_not_better("contact", visits)


@given(
    st.fixed_dictionaries({station: st.sampled_from([-1, -0.5, 0, 0.25, 1]) for station in STATIONS}),
    st.integers(3, 7),
    st.lists(st.floats(0, 3), min_size=2, max_size=5),
)
@settings(max_examples=25, deadline=None)
def test_marks_that_miss_by_more_are_never_better(shape, count, factors):
    stations = ["front", "molar_right", "molar_left", "canine_right", "premolar_left", "canine_left", "premolar_right"][
        :count
    ]
    placed = dict.fromkeys(stations, True)
    visits = [
        fitting(marks__placed=placed, marks__misfit={s: shape[s] * factor for s in stations})
        for factor in sorted(factors)
    ]
    assert_worse_is_not_better("marks", visits)


# ---- odd input

ODD = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.binary(max_size=2),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


def judge_or_name(sequence, entries):
    """Judges; an InputError must name a field and say what to do. Anything else comes through and fails the test."""
    error = None
    try:
        judge(sequence, entries)
    except InputError as caught:
        error = caught
    assert error is None or (error.field and error.why and error.do)


@settings(max_examples=300, deadline=None)
@given(ODD)
def test_whatever_comes_as_entries_raises_nothing_but_an_input_error(entries):
    judge_or_name(SEQUENCE, entries)


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    seed=st.integers(0, 500),
    field=st.sampled_from(
        ["id", "visit", "kind", "item", "value", "of", "seen", "at", "clock", "device", "author", None]
    ),
    odd=ODD,
    data=st.data(),
)
def test_an_entry_with_an_odd_field_raises_nothing_but_an_input_error(seed, field, odd, data):
    entries = copy.deepcopy(random_visit(random.Random(seed)).entries)
    at = data.draw(st.integers(0, len(entries) - 1))
    if field is None:
        del entries[at][data.draw(st.sampled_from(sorted(entries[at])))]
    else:
        entries[at][field] = odd
    judge_or_name(SEQUENCE, entries)


@settings(max_examples=200, deadline=None)
@given(
    kind=st.sampled_from(
        [
            "opened",
            "answer",
            "reading",
            "check",
            "withdrawal",
            "adjustment",
            "acceptance",
            "note",
            "signature",
            "printed",
        ]
    ),
    item=st.sampled_from([*FITTING, "wax", "display", "review", None]),
    value=ODD,
)
def test_an_odd_value_of_any_kind_raises_nothing_but_an_input_error(kind, item, value):
    visit = Visit()
    visit.add(kind, item, value, of="e0001")
    judge_or_name(SEQUENCE, visit.entries)


@settings(max_examples=100, deadline=None)
@given(ODD)
def test_an_odd_sequence_raises_nothing_but_an_input_error(sequence):
    judge_or_name(sequence, [])


@pytest.mark.parametrize("part", sorted(SEQUENCE))
@pytest.mark.parametrize("odd", [None, {}, [], [3], "text"])
def test_a_sequence_with_an_odd_part_raises_nothing_but_an_input_error(part, odd):
    judge_or_name({**SEQUENCE, part: odd}, fitting().entries)


@pytest.mark.parametrize(
    ("kind", "item", "value", "field"),
    [
        ("answer", "lip.support", "flabby", "value"),
        ("answer", "lip.support", 3, "value"),
        ("answer", "display.rest", 3, "value"),
        ("answer", "contact.gap", {"tuber": 1}, "value.tuber"),
        ("answer", "contact.gap", {"front": "1 mm"}, "value.front"),
        ("answer", "marks.placed", {"front": 1}, "value.front"),
        ("answer", "record.count", "three", "value"),
        ("reading", "display.rest", "2 cm", "value"),
        ("reading", "display.rest", float("nan"), "value"),
        ("reading", "display.rest", True, "value"),
        ("reading", "lip.support", 2, "kind"),
        ("reading", "plane.front", {"photo": "x"}, "value.photo"),
        ("reading", "display.rest", {"photo": 2}, "value"),
        ("withdrawal", "display.rest", None, "of"),
        ("adjustment", "wax", {"rim": "side", "surface": "height", "stations": {}}, "value.rim"),
        ("adjustment", "wax", {"rim": "upper", "surface": "inner", "stations": {}}, "value.surface"),
        ("adjustment", "wax", {"rim": "upper", "surface": "height", "stations": [1]}, "value.stations"),
        ("adjustment", "wax", {"rim": "upper", "surface": "height", "stations": {"back": 1}}, "value.stations.back"),
        ("acceptance", "display", {"codes": []}, "value.reason"),
        ("acceptance", "display", {"reason": "x"}, "value.codes"),
        ("note", "display", 3, "value"),
        ("signature", "review", {}, "value.covers"),
    ],
)
def test_a_value_of_the_wrong_shape_is_named_by_its_field(kind, item, value, field):
    visit = fitting()
    visit.add(kind, item, value)
    with pytest.raises(InputError) as caught:
        visit.judged()
    assert caught.value.field == field


def test_two_different_entries_of_one_id_are_named():
    entries = fitting().entries
    with pytest.raises(InputError, match="two entries"):
        judge(SEQUENCE, [*entries, dict(entries[0], value="reclined")])


def test_entries_of_two_visits_are_named():
    entries = fitting().entries
    entries[3]["visit"] = "v2"
    with pytest.raises(InputError, match="more than one visit"):
        judge(SEQUENCE, entries)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(odd=ODD, data=st.data())
def test_a_sequence_with_an_odd_field_raises_nothing_but_an_input_error(odd, data):
    sequence = copy.deepcopy(SEQUENCE)
    rows = [item for step in sequence["steps"] for item in step["items"]]
    rows += [*sequence["steps"], *sequence["disturbs"], *sequence["rounds"], *sequence["caps"]]
    rows += [sequence["settings"], sequence["bands"]]
    row = data.draw(st.sampled_from(rows))
    row[data.draw(st.sampled_from(sorted(row)))] = odd
    visit = random_visit(random.Random(data.draw(st.integers(0, 50))))
    judge_or_name(sequence, visit.entries)
