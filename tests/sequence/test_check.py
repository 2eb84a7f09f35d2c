"""What no entry can say is refused in one line that names the place, repeats what was given and says what to do."""

import ast
import math
from pathlib import Path

import pytest

from chairapp.sequence import document, jaw_relation
from chairapp.sequence.check import check_entry

DOC = document(jaw_relation())
NAN, INF = math.nan, math.inf


def entry(kind, item, value=None, **more):
    return {"kind": kind, "item": item, "value": value, "of": None, **more}


def wax(rim="lower", surface="height", **stations):
    return entry("adjustment", "wax", {"rim": rim, "surface": surface, "stations": stations})


TRIED = dict.fromkeys(("vertical", "centric", "plane", "midline", "display"), "right") | {"repeat": False, "why": ""}
SIGNED = {"role": "clinician", "covers": {}, "digest": "0", "verdicts": {}, "judge": "1"}

GOOD = [
    entry("answer", "seating.upright", "upright"),
    entry("answer", "seating.upright", None),
    entry("reading", "display.rest", 1.5),
    entry("reading", "display.rest", 1.37),
    entry("reading", "display.rest", -20),
    entry("check", "display.rest", 2),
    entry("check", "lower.pad_right", "half"),
    entry("reading", "plane.front", {"photo": 1.2}),
    entry("answer", "plane.front", "looks_parallel"),
    entry("answer", "contact.gap", {"front": 0, "molar_left": 0.25}),
    entry("answer", "marks.placed", {"front": True, "molar_left": False}),
    entry("answer", "record.count", 3),
    entry("answer", "packing.items", ["upper_rim", "record"]),
    entry("answer", "existing.note", "worn flat"),
    entry("withdrawal", "display.rest", of="an id"),
    wax(front=1, molar_left=-0.5),
    wax(surface="base", molar_right=-1),
    entry("acceptance", "display", {"reason": "long lip", "codes": [["display_long", 3]]}),
    entry("note", "display", "ask again"),
    entry("signature", "review", SIGNED),
    entry("signature", "review", SIGNED | {"role": "supervisor", "key": "k", "proof": "p"}),
    entry("printed", None, {"digest": "0", "reason": "first"}),
    entry("movement", "box", {"to": "laboratory"}),
    entry("movement", "box", {"undoes": "an id"}),
    entry("movement", "box", {"wanted": "2028-02-29"}),
    entry("movement", "box", {"wanted": None}),
    entry("outcome", "try_in", TRIED),
    entry("something_newer", "what.ever", 1),
    entry(
        "opened", None, {"sequence": "jaw-relation", "digest": "0", "box": "7KQ4M2X9", "chair": "1", "language": "en"}
    ),
]


@pytest.mark.parametrize("good", GOOD, ids=lambda one: f"{one['kind']} {one['item']}")
def test_what_can_be_said_is_let_through(good):
    assert check_entry(DOC, good) is None


# the entry, the field named, words of the reason
BAD = [
    (entry("reading", "display.rest", "2 cm"), "value", "display.rest: '2 cm' is not a number, it has a unit in it"),
    (entry("reading", "display.rest", "2mm"), "value", "it has a unit in it"),
    (entry("reading", "plane.front", "3°"), "value", "it has a unit in it"),
    (entry("reading", "display.rest", "two"), "value", "display.rest: 'two' is not a number"),
    (entry("reading", "display.rest", "2"), "value", "'2' is not a number"),
    (entry("reading", "display.rest", ""), "value", "'' is not a number"),
    (entry("reading", "display.rest", None), "value", "null is not a number"),
    (entry("reading", "display.rest", True), "value", "true is not a number"),
    (entry("reading", "display.rest", [1, 2]), "value", "a list is not a number"),
    (entry("reading", "display.rest", {"photo": 2}), "value", "an object is not a number"),
    (entry("reading", "plane.front", {"photo": "2"}), "value.photo", "'2' is not a number"),
    (entry("reading", "plane.front", {"photo": 2, "by": "x"}), "value", "an object is not a number"),
    (entry("reading", "vertical.rest", 700), "value", "vertical.rest: 700 mm is not possible, outside 20 to 150 mm"),
    (entry("reading", "vertical.rest", 150.001), "value", "150.001 mm is not possible"),
    (entry("reading", "vertical.rest", 10**400), "value", "a number far too large mm is not possible"),
    (entry("reading", "plane.left", -46), "value", "-46 deg is not possible, outside -45 to 45 deg"),
    (entry("reading", "display.rest", NAN), "value", "NaN is not a number that can be measured"),
    (entry("reading", "display.rest", INF), "value", "Infinity is not a number that can be measured"),
    (entry("reading", "display.rest", -INF), "value", "-Infinity is not a number that can be measured"),
    (entry("reading", "display.nothing", 1), "item", "'display.nothing' is no item of this sequence"),
    (entry("reading", None, 1), "item", "null is no item"),
    (entry("reading", ["display.rest"], 1), "item", "a list is no item"),
    (entry("reading", "seating.upright", 1), "item", "seating.upright takes an answer, not a reading"),
    (entry("check", "vertical.rest", 700), "value", "700 mm is not possible"),
    (entry("check", "lower.pad_right", "above all"), "value", "lower.pad_right: 'above all' is not one of its choices"),
    (entry("check", "lower.pad_right", None), "value", "lower.pad_right: null is not one of its choices"),
    (entry("answer", "display.rest", 1), "value", "display.rest takes readings, not the answer 1"),
    (entry("answer", "plane.front", 1), "value", 'plane.front takes readings or "looks_parallel"'),
    (entry("answer", "nothing", 1), "item", "'nothing' is no item"),
    (entry("answer", "seating.upright", "lying"), "value", "seating.upright: 'lying' is not one of its choices"),
    (entry("answer", "seating.upright", 1), "value", "1 is not one of its choices"),
    (entry("answer", "seating.upright", ["upright"]), "value", "a list is not one of its choices"),
    (entry("answer", "record.count", 2.5), "value", "record.count: 2.5 is not a whole number"),
    (entry("answer", "record.count", "three"), "value", "'three' is not a number"),
    (entry("answer", "contact.gap", 1), "value", "contact.gap: 1 is not a set of stations"),
    (entry("answer", "contact.gap", {"back": 1}), "value.back", "contact.gap: 'back' is no station here"),
    (entry("answer", "contact.gap", {"front": "1 mm"}), "value.front", "contact.gap at front: '1 mm' is not a number"),
    (entry("answer", "contact.gap", {"front": -1}), "value.front", "-1 mm is not possible, outside 0 to 30 mm"),
    (entry("answer", "contact.gap", {"front": None}), "value.front", "null is not a number"),
    (entry("answer", "contact.gap", {"front": NAN}), "value.front", "NaN"),
    (entry("answer", "marks.placed", {"front": 1}), "value.front", "1 says neither yes nor no"),
    (entry("answer", "packing.items", "record"), "value", "packing.items: 'record' is not a list"),
    (entry("answer", "packing.items", ["teeth"]), "value.0", "'teeth' is not one of its choices"),
    (entry("answer", "packing.items", ["record", "record"]), "value.1", "'record' is given twice"),
    (entry("answer", "existing.note", "  "), "value", "existing.note: '  ' is not a text"),
    (entry("answer", "existing.note", 4), "value", "4 is not a text"),
    (entry("withdrawal", "display.rest"), "of", "null is no entry id"),
    (entry("adjustment", "bone", {}), "item", "the item is 'bone'"),
    (entry("adjustment", "wax", 1), "value", "1 is not an object"),
    (wax(rim="middle", front=1), "value.rim", "'middle' is not one of its choices"),
    (wax(surface="inside", front=1), "value.surface", "'inside' is not one of its choices"),
    (wax(), "value.stations", "is not a set of stations"),
    (wax(nowhere=1), "value.stations.nowhere", "'nowhere' is no station here"),
    (wax(front=0), "value.stations.front", "0 mm changes nothing"),
    (wax(front=21), "value.stations.front", "adjustment at front: 21 mm is not possible, outside -20 to 20 mm"),
    (wax(front="1"), "value.stations.front", "'1' is not a number"),
    (wax(surface="base", front=-1), "value.stations.front", "'front' is no station here"),
    (wax(surface="base", molar_left=1), "value.stations.molar_left", "a base is relieved"),
    (
        entry("adjustment", "wax", {"rim": "upper", "surface": "height", "stations": {"front": 1}, "why": "x"}),
        "value.why",
        "'why' is not one of its fields",
    ),
    (entry("acceptance", "nothing", {"reason": "x", "codes": []}), "item", "'nothing' is no step"),
    (entry("acceptance", "display.rest", {"reason": "x", "codes": []}), "item", "'display.rest' is no step"),
    (entry("acceptance", "display", "because"), "value", "'because' is not an object"),
    (entry("acceptance", "display", {"codes": []}), "value.reason", "display: accepted without a reason"),
    (entry("acceptance", "display", {"reason": " ", "codes": []}), "value.reason", "accepted without a reason"),
    (entry("acceptance", "display", {"reason": "x"}), "value.codes", "does not name the findings it accepts"),
    (entry("acceptance", "display", {"reason": "x", "codes": [["few"]]}), "value.codes", "does not name the findings"),
    (entry("note", "display", ""), "value", "'' is not a text"),
    (entry("note", "somewhere", "x"), "item", "'somewhere' is no step"),
    (entry("signature", "lip", {}), "item", "the item is 'lip'"),
    (entry("signature", "review", None), "value", "null is not an object"),
    (entry("signature", "review", {"role": "clinician"}), "value.covers", "null is not an object"),
    (entry("signature", "review", SIGNED | {"role": "manager"}), "value.role", "'manager' is not one of its choices"),
    (entry("signature", "review", SIGNED | {"key": "k"}), "value.proof", "null is not a text"),
    (entry("signature", "review", SIGNED | {"proof": "p"}), "value.key", "null is not a text"),
    (entry("opened", None, None), "value", "null is not an object"),
    (entry("opened", None, {"sequence": "other"}), "value.sequence", "'other' is not the sequence of this document"),
    (entry("opened", None, {"sequence": "jaw-relation", "digest": 1}), "value.digest", "1 is not a text"),
    (entry("movement", "box", "lost"), "value", "movement: 'lost' is not an object"),
    (entry("movement", "box", {"to": "moon"}), "value.to", "movement: 'moon' is not one of its choices"),
    (entry("movement", "box", {"undoes": None}), "value.undoes", "movement: null is no entry id"),
    (entry("movement", "box", {"wanted": "2027-02-29"}), "value.wanted", "wanted: '2027-02-29' is not one of"),
    (entry("movement", "box", {"wanted": "31.12.2026"}), "value.wanted", "wanted: '31.12.2026' is not one of"),
    (entry("movement", "box", {"wanted": "2026-13-01"}), "value.wanted", "wanted: '2026-13-01' is not one of"),
    (entry("outcome", "try_in", True), "value", "outcome: true is not an object"),
    (entry("outcome", "try_in", TRIED | {"plane": "wrong"}), "value.plane", "outcome plane: 'wrong' is not one of"),
    (entry("outcome", "try_in", TRIED | {"repeat": "no"}), "value.repeat", "outcome repeat: 'no' is not one of"),
    (entry("outcome", "try_in", TRIED | {"why": None}), "value.why", "outcome why: null is not a text"),
]


@pytest.mark.parametrize(("bad", "field", "why"), BAD, ids=[f"{one[0]['kind']} {one[2][:40]}" for one in BAD])
def test_what_no_entry_can_say_is_refused_by_name(bad, field, why):
    fault = check_entry(DOC, bad)
    assert fault["field"] == field
    assert why in fault["why"]
    assert fault["do"]
    assert "{" not in fault["why"] + fault["do"].replace("{photo", "")
    assert "\n" not in fault["why"] + fault["do"]


def test_a_limit_of_the_possible_is_possible():
    for item in (item for step in DOC["steps"] for item in step["items"] if item["kind"] == "reading"):
        for limit in item["possible"]:
            assert check_entry(DOC, entry("reading", item["id"], limit)) is None


@pytest.mark.parametrize("kind", [None, 1, [], {}, True])
def test_a_kind_of_any_shape_is_left_to_the_envelope(kind):
    assert check_entry(DOC, {"kind": kind}) is None


def test_an_entry_with_nothing_but_a_kind_is_refused_and_raises_nothing():
    for kind in ("opened", "answer", "reading", "check", "withdrawal", "adjustment", "acceptance", "note", "signature"):
        assert check_entry(DOC, {"kind": kind}) is not None


def test_a_language_with_words_of_its_own_is_used_and_english_stands_in():
    doc = document(jaw_relation())
    doc["texts"]["xx"] = {"check.number.why": "{name}? {given}!"}
    fault = check_entry(doc, entry("reading", "display.rest", "two"), "xx")
    assert fault == {"field": "value", "why": "display.rest? 'two'!", "do": "give a number"}


def test_every_message_that_can_be_given_is_worded_and_no_other():
    folder = Path(__file__).parents[2] / "chairapp" / "sequence"
    source = (folder / "check.py").read_text() + (folder / "values.py").read_text()
    worded = {key.split(".")[1] for key in DOC["texts"]["en"] if key.startswith("check.")}
    texts = {node.value for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Constant)}
    assert worded <= texts
    given = {check_entry(DOC, bad)["why"] for bad, _, _ in BAD}
    assert len(given) > len(worded)


@pytest.mark.parametrize("name", ["check.py", "check_box.py", "values.py", "say.py", "view.py"])
def test_what_runs_in_the_browser_imports_only_math_the_judge_and_its_siblings(name):
    path = Path(__file__).parents[2] / "chairapp" / "sequence" / name
    tree = ast.parse(path.read_text())
    imported = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    imported |= {part.name for node in ast.walk(tree) if isinstance(node, ast.Import) for part in node.names}
    siblings = {f"chairapp.sequence.{one}" for one in ("check", "check_box", "values", "say", "view")}
    outside = [one for one in imported if not one.startswith("chairapp.judge")]
    assert set(outside) <= {"math"} | siblings
