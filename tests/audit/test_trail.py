"""The trail: every entry as one line a manager can read, with what became of it."""

import json
from pathlib import Path

import pytest

from chairapp.audit.trail import trail
from chairapp.case import case_of, entries_of
from chairapp.people.demo import demo_clinic
from chairapp.sequence import digest, document, jaw_relation
from sync.entry import Stamper

CASES = Path(__file__).parents[2] / "demo_cases"
SEQUENCE = document(jaw_relation())
CLINIC = demo_clinic(digest(SEQUENCE), "rims.example")
VISIT = "01900000-0000-7000-8000-000000000001"
AT_MS = 1_795_600_000_000
RIGHT = dict.fromkeys(("vertical", "centric", "plane", "midline", "display"), "right") | {"repeat": False, "why": ""}


@pytest.fixture
def tell():
    """Lines of entries given as (kind, item, value) or with an `of` that is a place in the list."""

    def tell(*rows, received=None):
        stamper = Stamper("tablet", wall=lambda: AT_MS)
        entries = []
        for kind, item, value, *of in rows:
            target = entries[of[0]]["id"] if of else None
            entries.append(stamper.entry(VISIT, kind, author="clin-1", item=item, value=value, of=target))
        came = {entry["id"]: received for entry in entries} if received else {}
        return trail(SEQUENCE, entries, CLINIC, came, "en")

    return tell


@pytest.mark.parametrize(
    ("row", "what", "value"),
    [
        (("reading", "display.rest", 1.5), "Display at rest", "1.5 mm"),
        (("reading", "display.rest", -1), "Display at rest", "-1 mm"),
        (("answer", "seating.upright", "upright"), "Position", "Upright, no headrest"),
        (("answer", "seating.upright", None), "Position", "cleared"),
        (("answer", "packing.items", ["upper_rim", "record"]), "In the box", "Upper rim, Jaw relation record"),
        (
            ("answer", "contact.gap", {"front": 0, "canine_right": 0.5, "canine_left": 0.5}),
            "Gaps between the rims",
            "0.5 mm at both canines; 0 mm at the front",
        ),
        (
            ("answer", "marks.placed", {"front": True, "molar_left": True}),
            "Alignment marks",
            "the front and the left molars",
        ),
        (
            ("adjustment", "wax", {"rim": "upper", "surface": "height", "stations": {"front": 1, "molar_left": -0.5}}),
            "Wax changed",
            "upper rim, height: +1 mm at the front; -0.5 mm at the left molars",
        ),
        (("acceptance", "display", {"reason": "long lip", "codes": []}), "Acceptance: Display and F/V", "long lip"),
        (
            ("printed", "label", {"what": "label", "digest": "ab" * 32, "reason": "lost"}),
            "Printed",
            "label of record abababab, again: lost",
        ),
        (("movement", "box", {"to": "laboratory"}), "Case box", "sent to the laboratory"),
        (("movement", "box", {"wanted": "2026-12-31"}), "Case box", "wanted back by 2026-12-31"),
        (("movement", "box", {"undoes": "gone"}), "Case box", "taken back: an entry that has not arrived"),
        (("movement", "box", {"newer": 1}), "Case box", '{"newer": 1}'),
        (
            ("outcome", "try_in", RIGHT | {"plane": "correct", "repeat": True, "why": "marks worn"}),
            "Try-in",
            "plane to be corrected; record to be repeated: marks worn",
        ),
        (("outcome", "try_in", RIGHT), "Try-in", "all right"),
        (("check", "display.rest", 2), "Second reading: Display at rest", "2 mm"),
        (("answer", "display.new", 3), "display.new", "3"),
        (("adjustment", "wax", "something newer"), "Wax changed", "something newer"),
    ],
    ids=lambda value: value if isinstance(value, str) else None,
)
def test_an_entry_is_told_in_the_words_of_its_sequence(tell, row, what, value):
    (line,) = tell(row)
    assert (line.what, line.value) == (what, value)
    assert line.who == "Dr Ada Lindqvist"


def test_an_answer_given_again_replaces_the_one_before(tell):
    lines = tell(("answer", "display.fv", "short"), ("reading", "display.rest", 1), ("answer", "display.fv", "touches"))
    assert [line.fate for line in lines] == ["replaced", "", ""]


def test_a_reading_taken_back_is_shown_with_what_took_it_back(tell):
    lines = tell(("reading", "display.rest", 9), ("withdrawal", "display.rest", None, 0))
    assert lines[0].fate == "withdrawn"
    assert (lines[1].what, lines[1].value) == ("Taken back", "Display at rest: 9 mm")


def test_an_erased_value_is_told_as_that_with_who_erased_it_and_why(tell):
    lines = tell(
        ("note", "seating", {"erased": "0" * 64}),
        ("erasure", "seating", {"reason": "entered for somebody else", "sha256": "0" * 64}, 0),
    )
    assert [line.value for line in lines] == ["value erased", f"{lines[0].what}: entered for somebody else"]
    assert lines[1].what == "Value erased"


def test_an_entry_that_came_a_day_later_says_when_it_came(tell):
    day = 24 * 3600 * 1000
    (late,) = tell(("reading", "display.rest", 1), received=AT_MS + 2 * day)
    (prompt,) = tell(("reading", "display.rest", 1), received=AT_MS + day // 2)
    assert late.came
    assert prompt.came == ""


def test_an_answer_says_what_it_replaced(tell):
    lines = tell(("answer", "display.fv", "short"), ("answer", "display.fv", "touches"))
    assert [line.before for line in lines] == ["", lines[0].value]


def test_a_clock_is_called_wrong_only_where_an_entry_came_before_it_was_made(tell):
    minute = 60 * 1000
    (ahead,) = tell(("reading", "display.rest", 1), received=AT_MS - 90 * minute)
    (late,) = tell(("reading", "display.rest", 1), received=AT_MS + 90 * minute)
    (close,) = tell(("reading", "display.rest", 1), received=AT_MS - minute)
    assert [line.clock for line in (ahead, late, close)] == ["clock 90 min ahead", "", ""]
    assert (late.time, late.received) == ("09:46:40", "11:16:40")


@pytest.mark.parametrize("file", sorted(CASES.glob("*.json")), ids=lambda file: file.stem)
def test_every_entry_of_the_demo_has_its_line_and_none_shows_raw_data(file):
    entries = entries_of(case_of(json.loads(file.read_text())), SEQUENCE)
    lines = trail(SEQUENCE, entries, CLINIC, {}, "en")
    assert len(lines) == len(entries)
    assert not [line for line in lines if "{" in line.value or "_" in line.value or "." in line.what]
