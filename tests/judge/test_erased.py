"""An erased value counts no more than one taken back, here and on the tablet."""

import pytest

from chairapp.judge import judge, settle
from chairapp.sequence import document, jaw_relation
from sync.entry import Stamper, canonical
from sync.erased import digest_of_value, make

SEQUENCE = document(jaw_relation())


@pytest.fixture
def entries():
    stamper = Stamper("tablet")
    visit = stamper.new_id()
    made = [stamper.entry(visit, "reading", author="a", item="display.rest", value=value) for value in (1.5, 2, 2.5)]
    return [*made, make(stamper, made[1], "entered for somebody else", "mgr-1")]


def erased(entries):
    bare = {**entries[1], "value": {"erased": digest_of_value(canonical(entries[1]))}}
    return [entries[0], bare, *entries[2:]]


def test_an_erased_reading_counts_no_more_and_the_erasure_is_told(entries):
    row = settle(SEQUENCE, erased(entries))["items"]["display.rest"]
    assert [reading["value"] for reading in row["readings"]] == [1.5, 2.5]
    state = settle(SEQUENCE, erased(entries))
    assert [event["kind"] for event in state["events"]] == ["erasure"]
    assert state["unknown"] == []


def test_who_has_the_erasure_and_still_the_value_comes_to_the_same_verdict(entries):
    assert judge(SEQUENCE, erased(entries)) == judge(SEQUENCE, entries)


def test_what_holds_a_visit_together_is_not_taken_out_by_an_erasure(entries):
    stamper = Stamper("tablet")
    value = {"sequence": "jaw-relation", "digest": "0" * 64, "box": None, "chair": "1", "language": "en"}
    opened = {**stamper.entry(entries[0]["visit"], "opened", author="a", value=value)}
    state = settle(SEQUENCE, [opened, make(stamper, opened, "to hide it", "mgr-1")])
    assert state["opened"]["chair"] == "1"
