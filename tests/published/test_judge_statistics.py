"""The judge's statistics against scipy, numpy and invented readings worked out with them (source beside each)."""

import math
import random

import numpy as np
import pytest
from scipy import stats

from chairapp.judge.numbers import mean, variance
from chairapp.judge.student import T90, T95, floored_variance, interval, series, t_quantile, welch_df
from chairapp.judge.vertical import further_readings

REST, OCCLUSAL = [70.5, 71.0, 70.0], [67.5, 68.0, 67.5]


def both(rest, occlusal):
    a, b = series(rest, 0.5), series(occlusal, 0.5)
    return {"rest": a, "occlusal": b, "distance": a["mean"] - b["mean"]}


def bounds(rest, occlusal, table):
    found = both(rest, occlusal)
    return interval(found["distance"], found["rest"], found["occlusal"], table)


# Source: scipy.stats.t.
@pytest.mark.parametrize("df", [*range(1, 31), 40, 60, 120])
def test_the_t_table_is_scipys_at_every_row(df):
    assert t_quantile(df, T95) == pytest.approx(stats.t.ppf(0.975, df), abs=6e-7)
    assert t_quantile(df, T90) == pytest.approx(stats.t.ppf(0.95, df), abs=6e-7)


# Source: scipy.stats.norm.
def test_the_last_row_of_the_t_table_is_the_normal_distribution():
    assert T95[-1] == pytest.approx(stats.norm.ppf(0.975), abs=6e-7)
    assert T90[-1] == pytest.approx(stats.norm.ppf(0.95), abs=6e-7)


# Source: scipy.stats.t; the greatest error of the table, between df 1 and 2, lies far from the df of three readings.
@pytest.mark.parametrize(
    ("df", "error"), [(1.5, 1.1), (2.5, 0.065), (3.2, 0.01), (5.5, 0.003), (12.3, 5e-4), (75, 1e-4)]
)
def test_between_the_rows_of_the_table_t_errs_on_the_careful_side(df, error):
    exact = stats.t.ppf(0.975, df)
    assert exact <= t_quantile(df, T95) <= exact + error


# Source: invented readings, scipy as referee: t at df 3.2 exactly 3.0728, linear in 1/df 3.0809.
def test_t_at_the_degrees_of_freedom_of_the_example():
    assert stats.t.ppf(0.975, 3.2) == pytest.approx(3.0728, abs=5e-5)
    assert t_quantile(3.2, T95) == pytest.approx(3.0809, abs=5e-5)


# Source: invented readings, scipy as referee: mean 2.8333, df 3.2000.
def test_the_example_has_its_mean_and_degrees_of_freedom():
    found = both(REST, OCCLUSAL)
    assert found["distance"] == pytest.approx(2.8333, abs=5e-5)
    assert welch_df(found["rest"], found["occlusal"]) == pytest.approx(3.2000, abs=5e-5)


# Source: invented readings, scipy as referee: 95 % 1.80906-3.85761, 90 % 2.06847-3.59820 with the exact t.
@pytest.mark.parametrize(("table", "low", "high"), [(T95, 1.80906, 3.85761), (T90, 2.06847, 3.59820)], ids=["95", "90"])
def test_the_example_has_its_intervals_but_for_the_table(table, low, high):
    ours = bounds(REST, OCCLUSAL, table)
    assert ours == pytest.approx((low, high), abs=0.005)
    # wider, never narrower, than the exact one
    assert ours[0] <= low
    assert ours[1] >= high


# Source: scipy.stats.ttest_ind(equal_var=False).confidence_interval.
@pytest.mark.parametrize(("level", "table"), [(0.95, T95), (0.90, T90)])
def test_intervals_agree_with_scipys_welch_test(level, table):
    rng = random.Random(9)
    for _ in range(200):
        rest = [70 + rng.gauss(0, 1) for _ in range(rng.randint(3, 8))]
        occlusal = [67 + rng.gauss(0, 1) for _ in range(rng.randint(3, 8))]
        if min(variance(rest), variance(occlusal)) < 0.5**2 / 12:
            continue
        theirs = stats.ttest_ind(rest, occlusal, equal_var=False).confidence_interval(level)
        ours = bounds(rest, occlusal, table)
        # the table is up to 2 % wider between df 2 and 3, never narrower
        width = theirs.high - theirs.low
        assert theirs.low - 0.02 * width <= ours[0] <= theirs.low + 1e-6
        assert theirs.high - 1e-6 <= ours[1] <= theirs.high + 0.02 * width


# Source: invented readings, scipy as referee: with the floor q^2/12.
@pytest.mark.parametrize(("occlusal", "low", "high"), [(67, 2.673, 3.327), (68, 1.673, 2.327)])
def test_readings_without_scatter_have_the_interval_of_their_pad(occlusal, low, high):
    assert bounds([70] * 3, [occlusal] * 3, T95) == pytest.approx((low, high), abs=5e-4)


# Source: the variance of a uniform distribution one step wide (scipy.stats.uniform).
def test_the_floor_is_the_variance_of_rounding_to_the_pad():
    assert floored_variance([70, 70, 70], 0.5) == pytest.approx(stats.uniform(scale=0.5).var())


# Source: numpy.
def test_means_and_variances_are_numpys():
    rng = np.random.default_rng(4)
    for _ in range(50):
        values = rng.normal(70, 2, size=rng.integers(2, 9)).tolist()
        assert mean(values) == pytest.approx(np.mean(values), rel=1e-14)
        assert variance(values) == pytest.approx(np.var(values, ddof=1), rel=1e-10)


# Source: scipy.stats.ttest_ind_from_stats on the same variances and more readings.
def test_further_readings_are_the_fewest_that_scipy_finds():
    cases = 0
    for rest in ([70, 71, 70.5], [70, 70.5, 71.5], [70, 71, 71]):
        for shift in (0.5, 0.75, 1.0):
            found = both(rest, [68 - shift + mm for mm in (0, 0.5, 0)])
            cases += 1
            assert further_readings(found, [2, 4]) == _fewest(found)
    assert cases == 9


def _fewest(found):
    for more in range(1, 9):
        samples = [_sample(found[name]["mean"], found[name]["v"], 3 + more) for name in ("rest", "occlusal")]
        theirs = stats.ttest_ind(*samples, equal_var=False).confidence_interval(0.90)
        if theirs.low >= 2 and theirs.high <= 4:
            return more
    return None


def _sample(middle, v, n):
    """n numbers of exactly this mean and sample variance."""
    values = np.arange(n) - (n - 1) / 2
    return middle + values * math.sqrt(v / values.var(ddof=1))
