"""Case files: both forms, what is filled in, and one clear line for everything that cannot be read."""

import copy
import io
import json
import sys
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import chairapp
from chairapp.case import case_of, entries_of, judge_case, judge_file
from chairapp.judge import judge, settle
from chairapp.sequence import document, jaw_relation, override_of
from chairapp.sequence.check import check_entry
from chairapp.sequence.errors import InputError
from sync.entry import check_envelope
from sync.seal import digest

DOC = document(jaw_relation())

FITS = {
    "seating.upright": "upright",
    "seating.glasses": "off",
    "seating.points": "tip_and_chin",
    "seating.tragus": "middle",
    "seating.stable": "stable",
    "bench.sealed": "sealed",
    "bench.heel": "short",
    "lip.support": "supported",
    "display.rest": [1.5, 2],
    "display.fv": "touches",
    "plane.front": [1],
    "plane.right": "looks_parallel",
    "plane.left": 0.5,
    "lower.commissure": "level",
    "lower.pad_right": "half",
    "lower.pad_left": "half",
}
TOO_LONG = {"display.rest": [3.5], "display.fv": "past"}


def entries(case):
    return entries_of(case_of(case), DOC)


def verdict(case, step):
    return judge_case(case)["steps"][step]["verdict"]


def codes(case, step):
    return [finding["code"] for finding in judge_case(case)["steps"][step]["findings"]]


# ---- the short form


def test_answers_come_in_the_order_of_the_sequence_whatever_order_they_are_given_in():
    backwards = dict(reversed(FITS.items()))
    items = [entry["item"] for entry in entries({"answers": backwards})]
    assert items == [entry["item"] for entry in entries({"answers": FITS})]
    assert items[:3] == [None, "seating.upright", "seating.glasses"]


def test_a_list_under_a_reading_is_its_readings_and_one_number_one_of_them():
    made = entries({"answers": FITS})
    assert [entry["value"] for entry in made if entry["item"] == "display.rest"] == [1.5, 2]
    assert [
        entry["kind"] for entry in made if entry["item"].__class__ is str and entry["item"].startswith("plane")
    ] == [
        "reading",
        "answer",
        "reading",
    ]


def test_answers_that_fit_fit():
    steps = judge_case({"answers": FITS})["steps"]
    assert {step: steps[step]["verdict"] for step in ("seating", "bench", "lip", "display", "plane", "lower")} == {
        "seating": "fits",
        "bench": "fits",
        "lip": "fits",
        "display": "fits",
        "plane": "fits",
        "lower": "fits",
    }


def test_adjustments_come_after_the_answers_and_make_stale_what_they_disturb():
    wax = {"rim": "upper", "surface": "height", "stations": {"front": -1}}
    case = {"answers": FITS, "adjustments": [wax]}
    assert [verdict(case, step) for step in ("display", "plane", "lip", "lower")] == ["stale", "stale", "fits", "fits"]


def test_an_accepted_step_is_accepted_with_what_it_shows():
    case = {"answers": FITS | TOO_LONG, "accepted": {"display": "a long lip, the patient likes it"}}
    assert verdict(case, "display") == "accepted"
    made = entries(case)[-1]
    assert made["value"] == {"reason": "a long lip, the patient likes it", "codes": [["display_long", 3.5]]}


def test_what_was_never_answered_cannot_be_accepted():
    assert verdict({"answers": FITS, "accepted": {"contact": "tired"}}, "contact") == "open"


def test_what_an_adjustment_made_stale_cannot_be_accepted():
    wax = {"rim": "upper", "surface": "height", "stations": {"front": -1}}
    case = {"answers": FITS | TOO_LONG, "adjustments": [wax], "accepted": {"display": "enough"}}
    assert verdict(case, "display") == "stale"


# ---- the full form


def full(*rows):
    return {"entries": list(rows)}


def reading(value, item="display.rest", **more):
    return {"kind": "reading", "item": item, "value": value, **more}


def adjustment(mm, **more):
    value = {"rim": "upper", "surface": "height", "stations": {"front": mm}}
    return {"kind": "adjustment", "item": "wax", "value": value, **more}


def test_whole_entries_are_made_that_any_store_would_take():
    for entry in entries(full(reading(1), adjustment(1), reading(2), {"kind": "withdrawal", "of": 2})):
        assert check_envelope(entry) is None
        assert check_entry(DOC, entry) is None


def test_the_same_case_gives_the_same_entries_and_another_start_another_visit():
    case = case_of(full(reading(1)))
    assert entries_of(case, DOC) == entries_of(case, DOC)
    later = entries_of(case, DOC, start=1_800_000_000_000, device="tablet-7")
    assert later[0]["visit"] != entries_of(case, DOC)[0]["visit"]
    assert {entry["device"] for entry in later} == {"tablet-7"}
    assert later[0]["at"] == "2027-01-15T08:00:00.000Z"


def test_ids_and_clocks_follow_the_list():
    made = entries(full(*[reading(1) for _ in range(50)]))
    assert [entry["id"] for entry in made] == sorted(entry["id"] for entry in made)
    assert [entry["clock"] for entry in made] == sorted(entry["clock"] for entry in made)


def test_each_entry_has_seen_the_adjustments_before_it():
    made = entries(full(reading(1), adjustment(1), reading(2), adjustment(-1), reading(3)))
    first, second = made[2]["id"], made[4]["id"]
    assert [entry["seen"] for entry in made[1:]] == [[], [], [first], [first], [second]]


def test_a_reading_said_to_have_seen_nothing_does_not_count_after_the_change():
    case = full(reading(1), adjustment(1), reading(1.5, seen=[]))
    assert codes(case, "display")[0] == "stale_unaware"
    assert verdict(full(reading(1), adjustment(1, id="wax"), reading(1.5, seen=["wax"])), "display") == "open"


def test_a_withdrawal_may_point_by_id_or_by_place():
    named = full(reading(15, id="misread"), reading(1.5), {"kind": "withdrawal", "of": "misread"})
    placed = full(reading(15), reading(1.5), {"kind": "withdrawal", "of": 0})
    for case in (named, placed):
        assert (
            codes(
                case | {"entries": [*case["entries"], {"kind": "answer", "item": "display.fv", "value": "touches"}]},
                "display",
            )
            == []
        )
        assert entries(case)[-1]["item"] == "display.rest"


def test_whole_entries_are_taken_as_they_are():
    whole = entries(full(reading(1), adjustment(1), reading(1.5), {"kind": "withdrawal", "of": 0}))
    assert entries({"entries": whole}) == whole


def test_the_opening_entry_is_made_unless_it_is_there():
    [opened, _] = entries(full(reading(1)) | {"box": "7KQ4M2X9", "chair": "2", "author": "clin-2"})
    assert opened["kind"] == "opened"
    assert opened["author"] == "clin-2"
    assert opened["value"] == {
        "sequence": "jaw-relation",
        "digest": document_digest(),
        "box": "7KQ4M2X9",
        "chair": "2",
        "language": "en",
    }
    assert len(entries({"entries": [opened, reading(1)]})) == 2


def document_digest():
    from chairapp.sequence import digest as of_document

    return of_document(DOC)


def test_a_signature_with_a_role_alone_covers_all_clinical_entries_before_it():
    made = entries(
        full(
            reading(1),
            {"kind": "answer", "item": "packing.agent", "value": "high"},
            {"kind": "signature", "item": "review", "value": {"role": "clinician"}},
            {"kind": "answer", "item": "packing.minutes", "value": 10},
        )
    )
    value = made[3]["value"]
    assert value["covers"] == {"case": made[1]["id"]}
    assert value["digest"] == digest([made[1]])
    assert value["verdicts"]["display"] == "open"
    assert judge(DOC, made)["voids"] == []


def test_an_acceptance_may_give_its_reason_as_a_text_or_in_an_object():
    rows = [{"kind": "answer", "item": "lip.support", "value": "strained"}]
    for value in ("as before", {"reason": "as before"}):
        case = full(*rows, {"kind": "acceptance", "item": "lip", "value": value})
        assert entries(case)[-1]["value"] == {"reason": "as before", "codes": [["lip_strained", "strained"]]}
        assert verdict(case, "lip") == "accepted"


# ---- the verdict


def test_the_verdict_has_the_shape_that_is_promised():
    found = judge_case({"answers": FITS | TOO_LONG})
    assert {"steps", "derived", "plan", "ready", "todo", "voids"} <= set(found)
    [finding] = [one for one in found["steps"]["display"]["findings"] if one["level"] == "off"]
    assert {"code", "item", "level", "value", "unit", "band", "params", "text", "advice", "source"} == set(finding)
    assert {"upper", "lower", "labial", "shown", "words"} <= set(found["plan"])
    assert found["ready"] is False
    assert found["todo"][0] == "display"
    assert json.loads(json.dumps(found, allow_nan=False)) == found


def test_judging_leaves_the_case_as_it_was():
    case = {"answers": FITS | TOO_LONG, "accepted": {"display": "long lip"}}
    before = copy.deepcopy(case)
    chairapp.judge_case(case)
    assert case == before


def test_the_same_case_gives_the_same_verdict_from_python_a_file_and_standard_input(tmp_path, monkeypatch):
    case = {"answers": FITS | TOO_LONG}
    file = tmp_path / "case.json"
    file.write_text(json.dumps(case))
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(file.read_bytes())))
    assert judge_file(str(file)) == judge_case(case) == chairapp.judge_case(case) == judge_file("-")


def test_a_school_s_own_numbers_change_the_verdict(tmp_path):
    override = tmp_path / "school.toml"
    override.write_text("[items.display.rest]\nband = [1, 4]")
    file = tmp_path / "case.json"
    file.write_text(json.dumps({"answers": FITS | {"display.rest": [3.5]}}))
    assert judge_file(str(file))["steps"]["display"]["verdict"] == "off"
    assert judge_file(str(file), str(override))["steps"]["display"]["verdict"] == "fits"


def test_a_case_speaks_its_language_where_the_sequence_does():
    doc = override_of('[texts.pt]\n"finding.display_long" = "Mostra {value}{unit}."')
    found = judge_case({"language": "pt", "answers": FITS | TOO_LONG}, doc)
    assert found["steps"]["display"]["findings"][0]["text"] == "Mostra 3.5 mm."


# ---- what cannot be read: the case, the field named, words of the reason

BAD_CASES = [
    ({}, "case", "nothing in it to judge"),
    ([], "case", "not an object"),
    (None, "case", "not an object"),
    ("x", "case", "not an object"),
    ({"answers": None}, "answers", "null says nothing"),
    ({"entries": None}, "entries", "null says nothing"),
    ({"answers": {}, "adjustments": None}, "adjustments", "null says nothing"),
    ({"answers": {}, "accepted": None}, "accepted", "null says nothing"),
    ({"case": None, "answers": {}}, "case", "null says nothing"),
    ({"sequence": None, "answers": {}}, "sequence", "null says nothing"),
    ({"answers": {}, "colour": "red"}, "colour", "no such field"),
    ({"answers": []}, "answers", "not an object"),
    ({"entries": {}}, "entries", "not a list"),
    ({"answers": {}, "adjustments": {}}, "adjustments", "not a list"),
    ({"answers": {}, "accepted": []}, "accepted", "not an object"),
    ({"case": 3, "answers": {}}, "case", "not a text"),
    ({"about": "", "answers": {}}, "about", "not a text"),
    ({"entries": [], "answers": {}}, "answers", "either entries or answers"),
    ({"sequence": "other", "answers": {}}, "sequence", "there is no sequence 'other'"),
    ({"sequence": 1, "answers": {}}, "sequence", "there is no sequence 1"),
    ({"answers": {"display.nothing": 1}}, "answers.display.nothing", "no item of this sequence"),
    ({"answers": {"display.rest": None}}, "answers.display.rest", "null says nothing"),
    ({"answers": {"display.rest": [None]}}, "answers.display.rest[0]", "null is not a number"),
    ({"answers": {"display.rest": []}}, "answers.display.rest", "no reading"),
    ({"answers": {"display.rest": [1, "2 cm"]}}, "answers.display.rest[1]", "it has a unit in it"),
    ({"answers": {"display.rest": "two"}}, "answers.display.rest", "'two' is not a number"),
    ({"answers": {"display.rest": {"front": 1}}}, "answers.display.rest", "an object is not a number"),
    ({"answers": {"vertical.rest": [700]}}, "answers.vertical.rest[0]", "700 mm is not possible"),
    ({"answers": {"display.rest": [float("nan")]}}, "answers.display.rest[0]", "NaN"),
    ({"answers": {"display.rest": [float("inf")]}}, "answers.display.rest[0]", "Infinity"),
    ({"answers": {"display.rest": [True]}}, "answers.display.rest[0]", "true is not a number"),
    ({"answers": {"lip.support": "fine"}}, "answers.lip.support", "'fine' is not one of its choices"),
    ({"answers": {"lip.support": ["supported"]}}, "answers.lip.support", "a list is not one of its choices"),
    ({"answers": {"contact.gap": {"nowhere": 1}}}, "answers.contact.gap.nowhere", "'nowhere' is no station"),
    ({"answers": {"contact.gap": {"front": "1"}}}, "answers.contact.gap.front", "'1' is not a number"),
    ({"answers": {"contact.gap": [1]}}, "answers.contact.gap", "a list is not a set of stations"),
    ({"answers": {}, "adjustments": [1]}, "adjustments[0]", "1 is not an object"),
    ({"answers": {}, "adjustments": [None]}, "adjustments[0]", "null is not an object"),
    ({"answers": {}, "adjustments": [{"rim": "upper"}]}, "adjustments[0].surface", "null is not one of its choices"),
    (
        {"answers": {}, "adjustments": [{"rim": "upper", "surface": "height", "stations": {"front": 0}}]},
        "adjustments[0].stations.front",
        "0 mm changes nothing",
    ),
    ({"answers": {}, "accepted": {"display": ""}}, "accepted.display", "accepted without a reason"),
    ({"answers": {}, "accepted": {"display": None}}, "accepted.display", "null is not an object"),
    ({"answers": {}, "accepted": {"display": 3}}, "accepted.display", "3 is not an object"),
    ({"answers": {}, "accepted": {"nothing": "x"}}, "accepted.nothing", "'nothing' is no step"),
    ({"entries": [1]}, "entries[0]", "not an object"),
    ({"entries": [None]}, "entries[0]", "not an object"),
    ({"entries": [{}]}, "entries[0].kind", "None is no kind"),
    ({"entries": [{"kind": "anser"}]}, "entries[0].kind", "'anser' is no kind"),
    ({"entries": [{"kind": ["answer"]}]}, "entries[0].kind", "is no kind"),
    ({"entries": [{"kind": "reading", "colour": 1}]}, "entries[0].colour", "no such field"),
    ({"entries": [reading("2 cm")]}, "entries[0].value", "it has a unit in it"),
    ({"entries": [reading(1), reading(1, item="x")]}, "entries[1].item", "'x' is no item"),
    ({"entries": [{"kind": "answer", "item": "display.rest", "value": 1}]}, "entries[0].value", "takes readings"),
    ({"entries": [reading(1, id=4)]}, "entries[0].id", "not a text"),
    ({"entries": [reading(1, id="a"), reading(1, id="a")]}, "entries[1].id", "'a' is the id of an entry before"),
    ({"entries": [{"kind": "withdrawal", "of": "a"}]}, "entries[0].of", "'a' is no entry before this one"),
    ({"entries": [{"kind": "withdrawal", "of": 0}]}, "entries[0].of", "0 is no entry before this one"),
    ({"entries": [{"kind": "withdrawal", "of": True}]}, "entries[0].of", "True is no entry before this one"),
    ({"entries": [{"kind": "withdrawal"}]}, "entries[0].of", "null is no entry id"),
    (
        {"entries": [{"kind": "withdrawal", "of": "018f0000-0000-7000-8000-000000000000"}]},
        "entries[0].of",
        "no entry of this case has that id",
    ),
    ({"entries": [reading(1, clock="now")]}, "entries[0].clock", "not [milliseconds, counter]"),
    ({"entries": [reading(1, clock=[10**30, 0])]}, "entries[0].clock", "not [milliseconds, counter]"),
    ({"entries": [reading(1, seen="x")]}, "entries[0].seen", "not a list of ids"),
    ({"entries": [reading(1, seen=["x"])]}, "entries[0].seen", "UUID"),
    ({"entries": [reading(1, author="")]}, "entries[0].author", "author must be a name"),
    ({"entries": [reading(1, at="today")]}, "entries[0].at", "must be a time"),
    ({"entries": [reading(1, visit="x")]}, "entries[0].visit", "UUID"),
    (
        {"entries": [reading(1, visit="018f0000-0000-7000-8000-000000000000")]},
        "visit",
        "entries of more than one visit",
    ),
    (
        {"entries": [{"kind": "signature", "item": "review", "value": {"role": ""}}]},
        "entries[0].value.role",
        "'' is not one of its choices",
    ),
    ({"entries": [{"kind": "signature", "item": "review"}]}, "entries[0].value", "null is not an object"),
    ({"answers": {"existing.note": "half \ud800"}}, "answers.existing.note", "half a character"),
    ({"answers": {"existing.note": "x" * 20_000}}, "answers.existing.note", "larger than"),
]


@pytest.mark.parametrize(("case", "field", "why"), BAD_CASES, ids=[f"{one[1]} {one[2]}" for one in BAD_CASES])
def test_a_case_that_cannot_be_read_is_refused_in_one_line_by_name(case, field, why):
    with pytest.raises(InputError) as caught:
        judge_case(case)
    assert caught.value.field == field
    assert why in str(caught.value)
    assert "\n" not in str(caught.value)


BAD_FILES = [
    (b"{", "line 1, column 2: this is not JSON"),
    (b"", "line 1, column 1: this is not JSON"),
    (b'{"answers": {"display.rest": [NaN]}}', "NaN is not a number that can be measured"),
    (b'{"answers": {"display.rest": [-Infinity]}}', "-Infinity is not a number that can be measured"),
    (b'{"answers": {"display.rest": [1], "display.rest": [2]}}', "display.rest: the name is given twice"),
    (b'{"answers": {"display.rest": [1e999]}}', "answers.display.rest[0]: display.rest: Infinity is not a number"),
    (b'{"answers": {"display.rest": [' + b"9" * 5000 + b"]}}", "a number has thousands of digits"),
    (b"[" * 100_000, "nested too deeply"),
    (b"\xff\xfe", "byte 0 is not UTF-8"),
    (b" " * 4_000_001, "larger than 4 MB"),
]


@pytest.mark.parametrize(("data", "why"), BAD_FILES, ids=[one[1][:40] for one in BAD_FILES])
def test_a_file_that_cannot_be_read_is_named_with_what_is_wrong(tmp_path, data, why):
    file = tmp_path / "case.json"
    file.write_bytes(data)
    with pytest.raises(InputError) as caught:
        judge_file(str(file))
    assert str(caught.value).startswith(f"{file}: ")
    assert why in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_path_that_leads_nowhere_is_said_to(tmp_path):
    with pytest.raises(InputError, match="there is no such file"):
        judge_file(str(tmp_path / "none.json"))
    with pytest.raises(InputError, match="it cannot be read"):
        judge_file(str(tmp_path))
    with pytest.raises(InputError, match="this cannot be a path"):
        judge_file("a\0b")


def test_a_mark_at_the_start_of_the_file_is_no_fault(tmp_path):
    file = tmp_path / "case.json"
    file.write_bytes(b"\xef\xbb\xbf" + json.dumps({"answers": FITS}).encode())
    assert judge_file(str(file))["steps"]["lip"]["verdict"] == "fits"


def test_importing_the_package_is_cheap():
    """Pages and commands import chairapp; only a judged case pays for reading the sequence."""
    import subprocess

    code = "import sys, chairapp; sys.exit('pydantic' in sys.modules or 'chairapp.case' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


ITEM_IDS = [item["id"] for step in DOC["steps"] for item in step["items"]]
WORDS = ["upright", "front", "upper", "height", "looks_parallel", "wax", "review", "2 cm", "", "display", "clinician"]
leaves = st.none() | st.booleans() | st.integers() | st.floats() | st.sampled_from(WORDS) | st.text(max_size=5)
names = st.sampled_from([*WORDS, "rim", "surface", "stations", "reason", "codes", "role", "photo"])
values = st.recursive(leaves, lambda part: st.lists(part, max_size=3) | st.dictionaries(names, part, max_size=3))
rows = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(
            ["answer", "reading", "withdrawal", "adjustment", "acceptance", "signature", "opened", "x"]
        )
    },
    optional={
        "item": st.sampled_from([*ITEM_IDS, *WORDS]) | leaves,
        "value": values,
        "of": leaves,
        "id": leaves,
        "seen": values,
        "clock": values,
        "at": leaves,
    },
)
forms = st.fixed_dictionaries({"entries": st.lists(rows, max_size=6)}) | st.fixed_dictionaries(
    {"answers": st.dictionaries(st.sampled_from(ITEM_IDS), values, max_size=4)},
    optional={"adjustments": values, "accepted": values, "sequence": leaves, "box": leaves, "language": leaves},
)


def outcome(case):
    """The verdict as JSON, or the one line of the refusal."""
    try:
        return json.dumps(judge_case(case), allow_nan=False)
    except InputError as error:
        return str(error)


@given(forms | values)
@settings(max_examples=400, deadline=None)
def test_nothing_however_odd_raises_anything_but_a_named_error_of_one_line(case):
    said = outcome(case)
    assert said.isprintable()
    assert said.startswith("{") or ": " in said


@pytest.mark.parametrize("odd", [(1, 2), {1}, b"x", object(), 1j])
def test_what_is_no_json_at_all_is_refused_by_name(odd):
    for case in ({"answers": {"display.rest": odd}}, {"answers": {"contact.gap": {"front": odd}}}):
        with pytest.raises(InputError, match="is not a number"):
            judge_case(case)


def test_a_wrong_text_is_repeated_in_one_short_line():
    with pytest.raises(InputError) as caught:
        judge_case({"answers": {"display.rest": "1\n" + "x" * 500}})
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 200


def test_rest_read_with_something_else_in_the_mouth_is_another_rest():
    """The advice "read it again with one rim out" must not end in a mean over both."""
    bases = {"kind": "answer", "item": "vertical.rest_bases"}
    first = [{**bases, "value": "both"}, *[reading(69, item="vertical.rest") for _ in range(3)]]
    second = [{**bases, "value": "upper"}, *[reading(71, item="vertical.rest") for _ in range(3)]]
    made = entries(full(*first, *second, *[reading(68, item="vertical.occlusal") for _ in range(3)]))
    assert judge(DOC, made)["derived"]["interocclusal_distance"]["value"] == 3
    row = settle(DOC, made)["items"]["vertical.rest"]
    assert (row["rounds"], row["value"]) == ([[69, 69, 69]], 71)
