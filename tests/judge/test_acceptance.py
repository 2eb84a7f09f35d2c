"""An acceptance stands in for a verdict while it holds, and a signature until something clinical lies outside it."""

import pytest

from tests.judge.visits import FITTING, fitting


def too_long(mm=3):
    return fitting(display__rest=[mm])


def test_an_acceptance_turns_off_and_unsure_into_accepted():
    for changed in ({"display__rest": [3]}, {"display__fv": "short"}):
        visit = fitting(**changed)
        visit.accept("display", "as in the photographs")
        step = visit.judged()["steps"]["display"]
        assert step["verdict"] == "accepted"
        assert step["acceptance"]["holds"] is True
        assert step["acceptance"]["reason"] == "as in the photographs"
        assert visit.judged()["ready"] is True


@pytest.mark.parametrize("changed", [{"display__rest": None}, {"display__fv": None}])
def test_an_open_step_cannot_be_accepted(changed):
    visit = fitting(**changed)
    visit.accept("display", codes=[["display_long", 3]])
    assert visit.verdict("display") == "open"


def test_a_stale_step_is_stale_whatever_was_accepted():
    visit = too_long()
    visit.accept("display")
    visit.adjust("upper", "height", -1)
    assert visit.verdict("display") == "stale"
    assert "lapsed" in visit.codes("display", notes=True)


def test_an_acceptance_lapses_when_the_value_moves_further_out():
    visit = too_long()
    visit.accept("display")
    visit.give({"display.rest": [3.5]})
    assert visit.verdict("display") == "off"
    assert "lapsed" in visit.codes("display", notes=True)


def test_an_acceptance_outlasts_a_value_that_moves_nearer():
    visit = too_long()
    visit.accept("display")
    visit.give({"display.rest": [2.5]})
    assert visit.verdict("display") == "accepted"


def test_an_acceptance_of_one_side_is_none_of_the_other():
    visit = fitting(plane__front=[5])
    visit.accept("plane")
    visit.withdraw(next(e["id"] for e in visit.entries if e["item"] == "plane.front"))
    visit.give({"plane.front": [-5]})
    assert visit.verdict("plane") == "off"


def test_an_acceptance_lapses_when_another_code_appears():
    visit = too_long()
    visit.accept("display")
    visit.give({"display.rest": [3, 1.75]})
    assert visit.codes("display") == ["display_long", "disagree"]
    assert visit.verdict("display") == "off"


def test_an_acceptance_lapses_by_a_cap():
    visit = fitting(contact__gap={**FITTING["contact.gap"], "front": 1})
    visit.accept("contact")
    assert visit.verdict("contact") == "accepted"
    visit.give({"seating.stable": "rocks"})
    assert visit.verdict("contact") == "off"
    visit.give({"seating.stable": "stable"})
    assert visit.verdict("contact") == "off"


def test_an_acceptance_that_lapsed_does_not_revive_by_itself():
    visit = too_long()
    visit.accept("display")
    worse = visit.add("reading", "display.rest", 4)
    visit.withdraw(worse)
    assert visit.codes("display") == ["display_long"]
    assert visit.verdict("display") == "off"
    visit.accept("display", "again")
    assert visit.verdict("display") == "accepted"


def test_an_acceptance_does_not_revive_when_the_wax_is_undone():
    visit = too_long()
    visit.accept("display")
    visit.withdraw(visit.adjust("upper", "height", -1))
    assert visit.verdict("display") == "off"


def test_an_acceptance_does_not_revive_once_its_step_fitted():
    visit = too_long()
    visit.accept("display")
    first = next(e["id"] for e in visit.entries if e["item"] == "display.rest")
    visit.withdraw(first)
    visit.give({"display.rest": [1.5]})
    visit.withdraw(visit.entries[-1]["id"])
    visit.give({"display.rest": [3]})
    assert visit.verdict("display") == "off"


def test_what_happens_in_other_steps_leaves_an_acceptance_alone():
    visit = too_long()
    visit.accept("display")
    visit.give({"lip.support": "strained", "plane.front": [1]})
    visit.adjust("lower", "height", 1)
    assert visit.verdict("display") == "accepted"


def test_an_acceptance_taken_back_is_none():
    visit = too_long()
    visit.withdraw(visit.accept("display"))
    assert visit.verdict("display") == "off"
    assert visit.judged()["steps"]["display"]["acceptance"] is None


def test_an_acceptance_that_did_not_know_of_the_wax_does_not_count():
    visit = too_long()
    visit.adjust("upper", "height", -1)
    visit.give({"display.rest": [3], "display.fv": "touches"})
    visit.accept("display", seen=[])
    assert visit.verdict("display") == "off"
    visit.accept("display")
    assert visit.verdict("display") == "accepted"


def test_each_finding_must_be_accepted_by_itself():
    visit = fitting(lower__pad_right="above", lower__pad_left="above")
    visit.accept("lower", codes=[["pad_above", "above"]])
    assert visit.verdict("lower") == "off"
    visit.accept("lower")
    assert visit.verdict("lower") == "accepted"


def test_the_latest_acceptance_counts():
    visit = too_long()
    visit.accept("display", "first")
    visit.accept("display", "second")
    assert visit.judged()["steps"]["display"]["acceptance"]["reason"] == "second"


def test_an_acceptance_of_what_fits_changes_nothing():
    visit = fitting()
    visit.accept("display", codes=[])
    assert visit.verdict("display") == "fits"


def test_a_signature_that_covers_everything_is_valid():
    visit = fitting()
    visit.sign()
    (signature,) = visit.state()["signatures"]
    assert signature["valid"] is True
    assert signature["void_by"] is None


@pytest.mark.parametrize(
    ("kind", "item", "value"),
    [
        ("answer", "lip.support", "strained"),
        ("reading", "display.rest", 1.5),
        ("note", "lip", "long lip"),
        ("acceptance", "lip", {"reason": "x", "codes": []}),
        ("adjustment", "wax", {"rim": "upper", "surface": "labial", "stations": {"front": 1}}),
        ("answer", "teeth.shade", "A2"),
        ("answer", "display.smile", 3),
    ],
)
def test_a_clinical_entry_outside_voids_a_signature_and_is_named(kind, item, value):
    visit = fitting()
    signed = visit.sign()
    late = visit.add(kind, item, value)
    (signature,) = visit.state()["signatures"]
    assert signature["valid"] is False
    assert (signature["void_by"]["id"], signature["void_by"]["kind"]) == (late, kind)
    voids = [void for void in visit.judged()["voids"] if void["what"] == "signature"]
    assert voids == [{"what": "signature", "id": signed, "by": signature["void_by"]}]


def test_taking_something_back_after_signing_voids_the_signature():
    visit = fitting()
    visit.sign()
    visit.withdraw(next(e["id"] for e in visit.entries if e["item"] == "display.rest"))
    assert visit.state()["signatures"][0]["valid"] is False


@pytest.mark.parametrize(
    ("kind", "item", "value"),
    [
        ("answer", "packing.agent", "high"),
        ("note", "packing", "fragile"),
        ("note", "review", "looked at"),
        ("printed", "label", {"digest": "d"}),
        ("movement", None, {"to": "laboratory"}),
        ("outcome", None, {}),
        ("check", "display.rest", 2),
        ("answer", "packing.lid", "closed"),
    ],
)
def test_packing_printing_and_what_comes_after_never_void_a_signature(kind, item, value):
    visit = fitting()
    visit.sign()
    visit.add(kind, item, value)
    visit.sign()
    assert [signature["valid"] for signature in visit.state()["signatures"]] == [True, True]


def test_a_late_entry_of_another_tablet_voids_a_signature_however_early_its_clock():
    visit = fitting()
    visit.sign()
    early = visit.add("reading", "display.rest", 1.5, device="t2", clock=1)
    assert visit.state()["signatures"][0]["void_by"]["id"] == early


def test_a_signature_that_did_not_know_of_a_covered_adjustment_is_void():
    visit = fitting()
    made = visit.adjust("upper", "labial", {"front": 1}, device="t2")
    visit.sign(seen=[])
    assert visit.state()["signatures"][0]["void_by"]["id"] == made
    visit.sign()
    assert visit.state()["signatures"][1]["valid"] is True
