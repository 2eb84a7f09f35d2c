"""The envelope, checked against the golden file that the browser is checked against too."""

import json
import math
from pathlib import Path
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from sync.entry import (
    BYTES_MAX,
    Stamper,
    canonical,
    check_envelope,
    frontier,
    in_order,
    nfc,
    read,
    time_text,
)
from tests.sync.conftest import Clock, Maker

GOLDEN = json.loads(Path(__file__).with_name("golden_entries.json").read_text())["cases"]
VALID = [case for case in GOLDEN if case["refused"] is None]
INVALID = [case for case in GOLDEN if case["refused"] is not None]


def _named(case: dict[str, Any]) -> str:
    return str(case["name"])


@pytest.mark.parametrize("case", VALID, ids=_named)
def test_a_valid_entry_of_the_golden_file_is_taken_and_has_the_same_bytes_everywhere(case: dict[str, Any]) -> None:
    entry = json.loads(case["json"])
    assert check_envelope(entry) is None
    assert canonical(entry).decode() == case["canonical"]
    assert canonical(read(canonical(entry))) == canonical(entry)


@pytest.mark.parametrize("case", INVALID, ids=_named)
def test_an_invalid_entry_of_the_golden_file_is_refused_by_the_name_of_its_field(case: dict[str, Any]) -> None:
    refusal = check_envelope(json.loads(case["json"]))
    assert refusal is not None
    assert refusal.field == case["refused"]
    assert refusal.why
    assert refusal.do


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf, 10**400])
def test_a_number_that_json_cannot_say_is_refused_by_name(maker: Maker, number: float) -> None:
    refusal = check_envelope({**maker.reading(), "value": [number]})
    assert refusal is not None
    assert refusal.field == "value"


def test_a_python_thing_that_is_not_json_is_refused_by_name(maker: Maker) -> None:
    for value in ({1: 2}, (1,), b"x", {"a": {3}}):
        refusal = check_envelope({**maker.reading(), "value": value})
        assert refusal is not None
        assert refusal.field == "value"


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(st.characters(codec=None)),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
)


@given(st.fixed_dictionaries({}, optional=dict.fromkeys(Maker().reading(), ANYTHING)) | ANYTHING)
def test_whatever_comes_the_check_answers_and_never_raises(raw: object) -> None:
    refusal = check_envelope(raw)
    assert refusal is not None
    assert refusal.why


@given(ANYTHING)
def test_what_the_check_lets_through_has_bytes_that_read_back_the_same(value: object) -> None:
    entry = {**Maker().reading(), "value": nfc(value)}
    if check_envelope(entry) is None:
        assert read(canonical(entry)) == entry
        assert len(canonical(entry)) <= BYTES_MAX


def test_the_canonical_bytes_are_those_of_the_rfcs_own_example() -> None:
    """Source: RFC 8785, section 3.2.2 and 3.2.3."""
    example = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/",
        "literals": [None, True, False],
    }
    assert canonical(example).decode() == (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
)


@given(JSON)
def test_canonical_gives_the_reference_librarys_own_bytes(value: object) -> None:
    assert canonical(value) == rfc8785.dumps(value)  # type: ignore[arg-type]


@given(st.floats(1e-9, 1e24) | st.floats(-1e24, -1e-9) | st.integers(-999, 999).map(lambda tenths: tenths / 10))
def test_canonical_writes_numbers_as_the_reference_library_does(number: float) -> None:
    assert canonical(number) == rfc8785.dumps(number)


def test_a_made_entry_passes_the_check_and_has_its_text_in_normal_form_c(maker: Maker) -> None:
    entry = maker.reading(value={"cafe\u0301": "e\u0301"})
    assert entry["value"] == {"caf\u00e9": "\u00e9"}
    assert check_envelope(entry) is None


def test_entries_of_one_device_are_in_order_of_id_and_clock_though_its_clock_steps_back() -> None:
    clock = Clock()
    stamper = Stamper("tablet-1", wall=clock)
    made = []
    for step in (0, 5, -3_600_000, 0, 1, -86_400_000):
        clock.now += step
        made.append(stamper.entry(stamper.new_id(), "note", author="a"))
    assert in_order(made) == made
    assert [entry["id"] for entry in made] == sorted(entry["id"] for entry in made)


def test_a_device_goes_on_after_its_latest_entry_though_it_restarts_with_a_clock_set_back() -> None:
    clock = Clock()
    last = Stamper("tablet-1", wall=clock).entry(Maker().visit, "note", author="a")
    clock.now -= 1_000_000
    following = Stamper("tablet-1", wall=clock, last=last).entry(Maker().visit, "note", author="a")
    assert following["id"] > last["id"]
    assert following["clock"] > last["clock"]


def test_an_entry_made_after_hearing_of_another_comes_after_it(maker: Maker) -> None:
    ahead = Maker("tablet-2", Clock(maker.reading()["clock"][0] + 60_000)).reading()
    assert maker.stamper.merge(ahead)
    assert maker.reading()["clock"] > ahead["clock"]


def test_the_frontier_is_what_no_other_has_seen(maker: Maker) -> None:
    def change(seen: list[str], kind: str = "change") -> dict[str, Any]:
        return {**maker.reading(), "kind": kind, "seen": seen}

    first = change([])
    second, third = change([first["id"]]), change([first["id"]])
    other = change([], "note")
    assert frontier([first], ["change"]) == [first["id"]]
    assert frontier([other, second, first, third], ["change"]) == sorted([second["id"], third["id"]])
    last = change([second["id"], third["id"]])
    assert frontier([first, second, third, last], ["change"]) == [last["id"]]
    assert frontier([other], ["change"]) == []


def test_the_frontier_ends_on_entries_that_claim_to_have_seen_each_other(maker: Maker) -> None:
    one, two = maker.reading(), maker.reading()
    one["seen"], two["seen"] = [two["id"]], [one["id"]]
    assert frontier([one, two], ["reading"]) == []


def test_a_time_is_written_in_utc_with_z() -> None:
    assert time_text(1_764_063_000_125) == "2025-11-25T09:30:00.125Z"
