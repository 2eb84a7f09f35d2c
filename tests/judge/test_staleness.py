"""What an adjustment and a changed answer make stale, row by row, and what each of two tablets could not know."""

import itertools

import pytest

from chairapp.judge import judge, settle
from tests.judge.visits import FITTING, SEQUENCE, fitting

STEP_OF = {item["id"]: step["id"] for step in SEQUENCE["steps"] for item in step["items"]}


def stale_items(visit):
    items = visit.state()["items"]
    return {item for item in items if items[item]["status"] == "stale"}


def of_steps(*names):
    """All that was answered of these steps, except what no wax disturbs."""
    return {item for item in FITTING if STEP_OF[item] in names and item != "vertical.rest_bases"}


BELOW = of_steps("contact", "vertical", "overjet", "bases", "marks")
RECORD = {"record.count", "record.agreement"}
SEALED = {"bench.sealed"}
LINES = {"lines.midline", "lines.canines"}


@pytest.mark.parametrize(
    ("rim", "surface", "stations", "disturbed"),
    [
        ("upper", "height", -1, of_steps("display", "plane") | BELOW | LINES | RECORD),
        ("upper", "height", 1, of_steps("display", "plane") | BELOW | LINES | RECORD | SEALED),
        ("lower", "height", -1, of_steps("lower") | BELOW - {"vertical.rest"} | RECORD),
        ("lower", "height", 0.5, of_steps("lower") | BELOW - {"vertical.rest"} | RECORD | SEALED),
        ("upper", "base", {"molar_right": -0.5}, BELOW | RECORD),
        ("lower", "base", {"molar_right": -0.5}, BELOW - {"vertical.rest"} | RECORD),
        (
            "upper",
            "labial",
            {"premolar_left": -1},
            of_steps("lip", "display", "overjet") | {"vertical.m_rest", "vertical.s_sound"},
        ),
        (
            "upper",
            "labial",
            {"front": -1},
            of_steps("lip", "display", "overjet", "marks") | {"vertical.m_rest", "vertical.s_sound", "lines.midline"},
        ),
        (
            "upper",
            "labial",
            {"canine_right": 1},
            of_steps("lip", "display", "overjet") | {"vertical.m_rest", "vertical.s_sound", "lines.canines"} | SEALED,
        ),
        ("lower", "labial", {"canine_left": -1}, of_steps("overjet") | {"display.fv", "vertical.m_rest"}),
        ("lower", "labial", {"front": -1}, of_steps("overjet", "marks") | {"display.fv", "vertical.m_rest"}),
    ],
)
def test_an_adjustment_makes_stale_what_it_disturbs_and_nothing_else(rim, surface, stations, disturbed):
    visit = fitting()
    visit.adjust(rim, surface, stations)
    assert stale_items(visit) == disturbed
    steps = visit.judged()["steps"]
    wanted = {STEP_OF[item] for item in disturbed}
    assert {step for step in steps if steps[step]["verdict"] == "stale"} == wanted


@pytest.mark.parametrize(
    ("bases", "rim", "fresh"),
    [
        ("none", "upper", True),
        ("none", "lower", True),
        ("upper", "upper", False),
        ("upper", "lower", True),
        ("lower", "upper", True),
        ("lower", "lower", False),
        ("both", "upper", False),
        ("both", "lower", False),
    ],
)
def test_rest_stays_fresh_when_the_adjusted_rim_was_not_in_the_mouth(bases, rim, fresh):
    for surface, stations in (("height", 1), ("base", {"molar_left": -1})):
        visit = fitting(vertical__rest_bases=bases)
        visit.adjust(rim, surface, stations)
        items = visit.state()["items"]
        assert items["vertical.rest"]["fresh"] is fresh
        assert not items["vertical.occlusal"]["fresh"]
        assert items["vertical.rest_bases"]["fresh"]


@pytest.mark.parametrize(
    ("item", "value", "disturbed"),
    [
        ("seating.upright", "reclined", of_steps("display", "lower", "vertical")),
        ("seating.glasses", "on", {"plane.front"}),
        ("seating.points", "under_nose_and_chin", {"vertical.rest", "vertical.occlusal"}),
        ("seating.tragus", "lower", {"plane.right", "plane.left"}),
        ("seating.stable", "rocks", set()),
        ("vertical.rest_bases", "none", {"vertical.rest"}),
    ],
)
def test_a_changed_answer_starts_a_new_round(item, value, disturbed):
    visit = fitting().give({item: value})
    assert stale_items(visit) == disturbed


@pytest.mark.parametrize("again", [["upright"], [None, "upright"], [None]])
def test_the_same_answer_again_starts_no_round(again):
    visit = fitting()
    for value in again:
        visit.add("answer", "seating.upright", value)
    assert stale_items(visit) == set()


def test_the_first_answer_starts_no_round():
    assert stale_items(fitting(seating__upright=None).give({"seating.upright": "upright"})) == set()


def test_an_adjustment_of_nothing_disturbs_nothing():
    visit = fitting()
    visit.adjust("upper", "height", {"front": 0})
    assert stale_items(visit) == set()


def test_only_readings_of_the_present_round_count_and_earlier_rounds_are_history():
    visit = fitting(display__rest=[0, 0.5])
    visit.adjust("upper", "height", 1)
    visit.give({"display.rest": [1]})
    visit.adjust("upper", "height", 0.5)
    visit.give({"display.rest": [1.5, 2]})
    row = visit.state()["items"]["display.rest"]
    assert row["rounds"] == [[0, 0.5], [1]]
    assert [reading["value"] for reading in row["readings"]] == [1.5, 2]
    assert row["value"] == 1.75


def test_a_wrong_reading_taken_back_no_longer_counts():
    visit = fitting(display__rest=None)
    wrong = visit.add("reading", "display.rest", 15)
    visit.give({"display.rest": [1.5]})
    visit.withdraw(wrong)
    row = visit.state()["items"]["display.rest"]
    assert row["value"] == 1.5
    assert [reading["value"] for reading in row["withdrawn"]] == [15]
    assert visit.verdict("display") == "fits"


def test_a_step_whose_readings_are_all_taken_back_is_open():
    visit = fitting(display__rest=None)
    visit.withdraw(visit.add("reading", "display.rest", 1.5))
    assert visit.verdict("display") == "open"


def test_undoing_an_adjustment_undoes_the_staleness_it_caused():
    visit = fitting()
    before = visit.judged()
    made = visit.adjust("upper", "height", 1)
    assert visit.verdict("display") == "stale"
    visit.withdraw(made)
    assert visit.judged() == before
    assert visit.state()["adjustments"][0]["withdrawn"] is True


def test_an_answer_cleared_is_open_and_the_beaten_one_stays_in_the_trail():
    visit = fitting().give({"lip.support": "strained"})
    row = visit.state()["items"]["lip.support"]
    assert row["value"] == "strained"
    assert [beaten["value"] for beaten in row["beaten"]] == ["supported"]
    visit.add("answer", "lip.support", None)
    assert visit.verdict("lip") == "open"


def test_stale_says_who_changed_what_and_when():
    visit = fitting()
    visit.adjust("upper", "labial", {"front": 1}, author="B")
    found = [f for f in visit.judged()["steps"]["lip"]["findings"] if f["code"] == "stale_wax"]
    assert found[0]["params"] == {
        "author": "B",
        "at": visit.entries[-1]["at"],
        "rim": "upper",
        "surface": "labial",
    }


def test_a_changed_answer_is_named_as_the_cause():
    visit = fitting().give({"seating.tragus": "lower"})
    codes = [(f["code"], f["params"]["cause"]) for f in visit.judged()["steps"]["plane"]["findings"]]
    assert codes == [("stale_answer", "seating.tragus")] * 2


def test_a_reading_taken_without_knowing_of_the_change_does_not_count_though_it_is_later():
    visit = fitting()
    visit.adjust("upper", "height", 1, author="B", device="t2")
    visit.add("reading", "display.rest", 1.5, seen=[])
    assert visit.verdict("display") == "stale"
    notes = {f["code"]: f for f in visit.judged()["steps"]["display"]["findings"]}
    assert notes["stale_unaware"]["params"]["author"] == "B" or notes["stale_wax"]["params"]["author"] == "B"
    row = visit.state()["items"]["display.rest"]
    assert row["stale_by"]["unaware"] is True


def test_concurrent_adjustments_both_count():
    visit = fitting()
    first = visit.adjust("upper", "height", 1, device="t1", seen=[])
    second = visit.adjust("upper", "height", 1, device="t2", seen=[])
    for known, verdict in (([first], "stale"), ([second], "stale"), ([first, second], "fits")):
        visit.add("reading", "display.rest", 1.5, seen=known)
        visit.add("answer", "display.fv", "touches", seen=known)
        assert visit.verdict("display") == verdict


def test_an_answer_that_knew_the_change_beats_a_later_one_that_did_not():
    visit = fitting()
    made = visit.adjust("upper", "labial", {"front": -1})
    visit.add("answer", "lip.support", "strained", seen=[made])
    visit.add("answer", "lip.support", "supported", seen=[], device="t2")
    row = visit.state()["items"]["lip.support"]
    assert (row["value"], row["fresh"]) == ("strained", True)


def test_the_past_is_closed_over_what_was_seen():
    visit = fitting()
    first = visit.adjust("upper", "height", 1)
    second = visit.adjust("lower", "height", 1)
    assert visit.entries[-1]["seen"] == [first]
    visit.add("reading", "plane.front", 0, seen=[second])
    assert visit.state()["items"]["plane.front"]["fresh"]


def test_no_reading_counts_that_did_not_see_the_wax_however_two_tablets_interleave():
    """Two tablets, each with its own order of events; every interleaving, with and without hearing of each other."""
    for order in set(itertools.permutations(["wax1", "wax2", "read1", "read2"])):
        for heard in itertools.product([False, True], repeat=4):
            _check_interleaving(order, dict(zip(order, heard, strict=True)))


def _check_interleaving(order, hears):
    visit = fitting(display__rest=None, display__fv="touches")
    knows = {"1": set(), "2": set()}
    made = []
    for event in order:
        tablet = event[-1]
        if hears[event]:
            knows[tablet] |= set(made)
        if event.startswith("wax"):
            known = sorted(knows[tablet])
            new = visit.adjust("upper", "height", {"front": 1}, device=tablet, seen=known)
            made.append(new)
            knows[tablet] = knows[tablet] | {new}
        else:
            visit.add("reading", "display.rest", 1.5, device=tablet, seen=sorted(knows[tablet]))
            visit.entries[-1]["_knew"] = set(knows[tablet])
    entries = [{name: e[name] for name in e if name != "_knew"} for e in visit.entries]
    counted = {reading["id"] for reading in settle(SEQUENCE, entries)["items"]["display.rest"]["readings"]}
    expected = {e["id"] for e in visit.entries if e["item"] == "display.rest" and e["_knew"] == set(made)}
    assert counted == expected
    assert judge(SEQUENCE, entries)["steps"]["display"]["verdict"] == "stale"


def test_height_and_bases_void_a_record_and_the_labial_face_does_not():
    visit = fitting()
    visit.adjust("upper", "labial", {"premolar_left": -1})
    assert [void["what"] for void in visit.judged()["voids"]] == []
    made = visit.adjust("lower", "base", {"molar_left": -1})
    (void,) = visit.judged()["voids"]
    assert (void["what"], void["by"]["id"], void["by"]["kind"]) == ("record", made, "adjustment")
    visit.give({"record.count": 3, "record.agreement": [0]})
    assert visit.judged()["voids"] == []


def test_marks_at_other_stations_outlast_a_change_of_the_labial_face():
    visit = fitting()
    visit.adjust("upper", "labial", {"canine_left": 1, "canine_right": 1})
    items = visit.state()["items"]
    assert items["marks.placed"]["fresh"]
    assert items["marks.misfit"]["fresh"]
    assert not items["lines.canines"]["fresh"]
    assert items["lines.midline"]["fresh"]


def test_what_a_newer_tablet_wrote_is_kept_and_not_judged():
    visit = fitting()
    before = visit.judged()
    visit.add("answer", "display.smile", 3)
    visit.add("sketch", "display.rest", {"any": "thing"})
    visit.add("acceptance", "smile", {"reason": "x"})
    visit.add("adjustment", "resin", {})
    assert visit.judged() == before
    assert [entry["item"] for entry in visit.state()["unknown"]] == ["display.smile", "display.rest", "smile", "resin"]


def test_a_withdrawal_of_an_answer_is_kept_as_not_understood():
    visit = fitting()
    answer = visit.add("answer", "lip.support", "strained")
    visit.withdraw(answer)
    assert visit.state()["items"]["lip.support"]["value"] == "strained"
    assert [entry["kind"] for entry in visit.state()["unknown"]] == ["withdrawal"]


def test_a_picture_that_was_kept_can_be_withdrawn_and_nothing_else_changes():
    visit = fitting()
    before = visit.judged()
    picture = visit.add("attachment", "plane.front", {"sha256": "a" * 64, "type": "image/jpeg", "bytes": 9})
    visit.withdraw(picture)
    assert visit.state()["unknown"] == []
    assert visit.judged() == before


def test_a_withdrawal_that_comes_before_what_it_takes_back_waits_for_it():
    visit = fitting(display__rest=[1.5])
    visit.add("withdrawal", "display.rest", of="e9999")
    assert visit.state()["unknown"] == []
    visit.add("reading", "display.rest", 9)
    visit.entries[-1]["id"] = "e9999"
    assert visit.state()["items"]["display.rest"]["value"] == 1.5


def test_checks_and_notes_are_kept_beside_and_never_judged():
    visit = fitting()
    before = visit.judged()
    visit.add("check", "display.rest", 5)
    visit.add("note", "display", "long lip")
    assert visit.judged() == before
    state = visit.state()
    assert [check["value"] for check in state["checks"]] == [5]
    assert [(note["step"], note["value"]) for note in state["notes"]] == [("display", "long lip")]


def test_opening_is_part_of_the_state():
    visit = fitting()
    visit.add(
        "opened", None, {"sequence": "jaw-relation", "digest": "d", "box": "7KQ4M2X9", "chair": "2", "language": "en"}
    )
    assert visit.state()["opened"]["box"] == "7KQ4M2X9"
    assert visit.state()["visit"] == "v1"
