"""Numbers leave the judge the same on the server and in the browser."""

import random

import pytest

from chairapp.judge.numbers import (
    at_least,
    at_most,
    fix6,
    is_number,
    mean,
    number_text,
    signed_text,
    spread,
    to_step,
    total,
    variance,
    within,
)


@pytest.mark.parametrize(
    ("given", "left"),
    [
        (1 / 3, 0.333333),
        (2 / 3, 0.666667),
        (-1 / 3, -0.333333),
        (0.0000005, 0.000001),
        (-0.0, 0.0),
        (-0.0000005, -0.000001),
        (-1e-9, 0.0),
        (70, 70),
    ],
)
def test_a_number_leaves_rounded_to_six_decimals(given, left):
    assert fix6(given) == left


def test_minus_zero_never_leaves():
    assert str(fix6(-0.0)) == "0.0"
    assert str(fix6(-1e-12)) == "0.0"


@pytest.mark.parametrize(
    ("value", "inside"), [(2, True), (2 + 1e-10, True), (2.000001, False), (1, True), (0.999999, False)]
)
def test_limits_lie_inside_the_band(value, inside):
    assert within(value, [1, 2]) is inside


def test_an_open_side_lets_everything_through():
    assert within(1e5, [1, None])
    assert within(-1e5, [None, 1])
    assert within(5, None)
    assert not within(0, [1, None])
    assert not within(2, [None, 1])


def test_comparisons_forgive_the_last_digits():
    assert at_most(0.1 + 0.2, 0.3)
    assert at_least(0.3, 0.1 + 0.2)
    assert not at_most(0.300002, 0.3)
    assert not at_least(0.3, 0.300002)


@pytest.mark.parametrize(
    ("mm", "shown"),
    [(0.25, 0.5), (-0.25, -0.5), (0.249999, 0), (1.25, 1.5), (-1.25, -1.5), (1.2, 1), (0, 0), (-0.1, 0), (2.75, 3)],
)
def test_shown_values_go_to_half_millimetres_and_halves_away_from_zero(mm, shown):
    assert to_step(mm, 0.5) == shown


@pytest.mark.parametrize(
    ("value", "text"),
    [(1.5, "1.5"), (2, "2"), (400.0, "400"), (-0.25, "-0.25"), (0.05, "0.05"), (2.675, "2.68"), (-2.675, "-2.68")],
)
def test_a_number_is_written_without_needless_noughts(value, text):
    assert number_text(value) == text


def test_a_number_is_written_with_as_few_places_as_asked_for():
    assert number_text(2.25, 1) == "2.3"
    assert number_text(-0.04, 1) == "0"
    assert number_text(99.96, 1) == "100"
    assert number_text(1.005, 0) == "1"


def test_a_change_is_written_with_its_sign():
    assert [signed_text(x) for x in (1.5, -1.5, 0, 0.001)] == ["+1.5", "-1.5", "0", "0"]


def test_written_numbers_agree_with_decimal_arithmetic():
    from decimal import ROUND_HALF_UP, Decimal

    rng = random.Random(1)
    for _ in range(2000):
        cents = rng.randint(-(10**6), 10**6)
        exact = (Decimal(cents) / 1000).quantize(Decimal("0.01"), ROUND_HALF_UP).normalize()
        assert Decimal(number_text(cents / 1000)) == exact


def test_sums_run_from_left_to_right():
    assert total([1e16, 1.0, -1e16]) == 0.0
    assert total([]) == 0.0


def test_mean_spread_and_variance_of_readings():
    assert mean([70.5, 71.0, 70.0]) == 70.5
    assert spread([70.5, 71.0, 70.0]) == 1.0
    assert variance([70.5, 71.0, 70.0]) == 0.25


@pytest.mark.parametrize("odd", [None, True, False, "2", "2 cm", [], {}, float("nan"), float("inf"), 1e9, 2j])
def test_only_plain_finite_numbers_count_as_numbers(odd):
    assert not is_number(odd)


@pytest.mark.parametrize("fine", [0, 1.5, -3, 1e6, -1e6])
def test_whole_and_broken_numbers_both_count(fine):
    assert is_number(fine)
