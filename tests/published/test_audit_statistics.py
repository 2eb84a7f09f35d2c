"""The manager's statistics against published examples, statsmodels and scipy (source beside each)."""

import math
import random

import numpy as np
import pytest
from pandas import DataFrame
from pingouin import intraclass_corr
from scipy import stats
from statsmodels.stats.inter_rater import cohens_kappa
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from chairapp.audit.f_distribution import f_quantile
from chairapp.audit.statistics import bland_altman, icc, individuals, kappa, newcombe, steadiness, wilson

# Source: Bland & Altman 1986, Lancet i:307-310, table of peak flow (large 1, large 2, small 1, small 2).
PEAK_FLOW = [
    (494, 490, 512, 525),
    (395, 397, 430, 415),
    (516, 512, 520, 508),
    (434, 401, 428, 444),
    (476, 470, 500, 500),
    (557, 611, 600, 625),
    (413, 415, 364, 460),
    (442, 431, 380, 390),
    (650, 638, 658, 642),
    (433, 429, 445, 432),
    (417, 420, 432, 420),
    (656, 633, 626, 605),
    (267, 275, 260, 227),
    (478, 492, 477, 467),
    (178, 165, 259, 268),
    (423, 372, 350, 370),
    (427, 421, 451, 443),
]
# Source: Shrout & Fleiss 1979, Psychol Bull 86:420-428.
RATINGS = [(9, 2, 5, 8), (6, 1, 3, 2), (8, 4, 6, 8), (7, 1, 2, 6), (10, 5, 6, 9), (6, 2, 4, 7)]


# Source: Newcombe 1998, Stat Med 17:857-872, method 3; tested also against statsmodels.
@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_the_interval_of_a_share_is_the_published_one(count, of, low, high):
    share = wilson(count, of)
    assert (share.low, share.high) == pytest.approx((low, high), abs=5e-5)


# Source: statsmodels.stats.proportion.proportion_confint(method="wilson").
def test_intervals_of_shares_are_statsmodels():
    for of in (1, 2, 7, 30, 500):
        for count in range(0, of + 1, max(1, of // 7)):
            share = wilson(count, of)
            assert (share.low, share.high) == pytest.approx(proportion_confint(count, of, method="wilson"), abs=1e-12)
    assert (wilson(0, 9).low, wilson(9, 9).high) == (0, 1)


# Source: Newcombe 1998, Stat Med 17:873-890, method 10. Last two: Prim Dent J 2020;9:49-55, and Haugen et al., Ann
# Surg 2015, its counts rebuilt from percentages; both intervals recomputed with statsmodels.
@pytest.mark.parametrize(
    ("first", "second", "low", "high"),
    [
        ((56, 70), (48, 80), 0.0524, 0.3339),
        ((9, 10), (3, 10), 0.1705, 0.8090),
        ((46, 72), (28, 199), 0.3703, 0.6077),
        ((440, 2212), (260, 2263), 0.0628, 0.1052),
    ],
)
def test_the_interval_of_a_difference_is_the_published_one(first, second, low, high):
    found = newcombe(wilson(*first), wilson(*second))
    assert (found.low, found.high) == pytest.approx((low, high), abs=5e-5)


# Source: statsmodels.stats.proportion.confint_proportions_2indep(method="newcomb").
def test_intervals_of_differences_are_statsmodels():
    chance = random.Random(4)
    for _ in range(200):
        n, m = chance.randint(1, 80), chance.randint(1, 80)
        a, b = chance.randint(0, n), chance.randint(0, m)
        found = newcombe(wilson(a, n), wilson(b, m))
        theirs = confint_proportions_2indep(a, n, b, m, method="newcomb", compare="diff")
        assert (found.low, found.high) == pytest.approx(theirs, abs=1e-9)


# Source: Bland & Altman 1986: the second repeat less the first; twice the SD of differences, 2 in place of 1.96.
@pytest.mark.parametrize(("place", "coefficient", "dahlberg"), [(0, 43.293798, 15.306669), (2, 56.316333, 19.910831)])
def test_repeatability_is_the_published_one(place, coefficient, dahlberg):
    pairs = [(row[place], row[place + 1]) for row in PEAK_FLOW]
    squares = sum((b - a) ** 2 / 2 for a, b in pairs)
    found = steadiness(squares, len(pairs), z=2)
    assert found.coefficient == pytest.approx(coefficient, abs=5e-7)
    assert found.sd == pytest.approx(dahlberg, abs=5e-7)


# Source: numpy, the within-group mean square of one-way analysis of variance (its root).
def test_steadiness_over_uneven_series_is_the_pooled_deviation():
    rng = np.random.default_rng(7)
    series = [rng.normal(70, 1, size=rng.integers(2, 6)) for _ in range(40)]
    squares = sum(float(((one - one.mean()) ** 2).sum()) for one in series)
    freedom = sum(len(one) - 1 for one in series)
    pooled = math.sqrt(sum(one.var(ddof=1) * (len(one) - 1) for one in series) / freedom)
    assert steadiness(squares, freedom).sd == pytest.approx(pooled)
    assert steadiness(squares, freedom).coefficient == pytest.approx(stats.norm.ppf(0.975) * math.sqrt(2) * pooled)


# Source: Bland & Altman 1986: first readings of the two meters, large less small.
def test_limits_of_agreement_are_the_published_ones():
    found = bland_altman([(small, large) for large, _, small, _ in PEAK_FLOW], z=1.96)
    assert (found.n, found.bias, found.sd) == pytest.approx((17, -2.117647, 38.765130), abs=5e-7)
    assert (found.low, found.high) == pytest.approx((-78.097302, 73.862007), abs=5e-7)


# Source: scipy.stats.ttest_1samp, the interval of the mean difference.
def test_the_interval_of_the_bias_is_scipys():
    differences = [large - small for large, _, small, _ in PEAK_FLOW]
    theirs = stats.ttest_1samp(differences, 0).confidence_interval(0.95)
    found = bland_altman([(small, large) for large, _, small, _ in PEAK_FLOW])
    assert (found.bias_low, found.bias_high) == pytest.approx((theirs.low, theirs.high), rel=1e-5)


# Source: NIST/SEMATECH e-Handbook, 6.3.2.2, with the handbook's rounded d2, then with the exact one.
def test_the_individuals_chart_is_the_handbooks():
    values = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    assert individuals(values, d2=1.128) == pytest.approx((50.81, 1.8778, 45.8159, 55.8041), abs=5e-5)
    # facts of the same page with 1.1284: 45.8177 and 55.8023
    assert individuals(values)[2:] == pytest.approx((45.8177, 55.8023), abs=2e-4)


# Source: Shrout & Fleiss 1979: ICC(2,1) .29, to six digits by a reference library .289764.
def test_the_intraclass_correlation_is_the_published_one():
    assert icc(RATINGS).value == pytest.approx(0.289764, abs=5e-7)


# Source: numpy, two-way analysis of variance written with matrices; Shrout & Fleiss 1979, table 3.
def test_intraclass_correlations_are_those_of_an_analysis_of_variance():
    rng = np.random.default_rng(3)
    for _ in range(50):
        n, k = int(rng.integers(2, 30)), int(rng.integers(2, 5))
        rows = rng.normal(0, 1, (n, 1)) + rng.normal(0, 0.4, (1, k)) + rng.normal(0, 0.5, (n, k))
        rest = rows - rows.mean(1, keepdims=True) - rows.mean(0, keepdims=True) + rows.mean()
        b, j = k * rows.mean(1).var(ddof=1), n * rows.mean(0).var(ddof=1)
        e = (rest**2).sum() / ((n - 1) * (k - 1))
        assert icc(rows.tolist()).value == pytest.approx((b - e) / (b + (k - 1) * e + k * (j - e) / n))


# Source: pingouin.intraclass_corr, ICC(A,1) and its interval, which it gives to two decimals.
def test_the_intraclass_correlation_and_its_interval_are_pingouins():
    rng = np.random.default_rng(11)
    for n, k in ((10, 2), (25, 2), (6, 4)):
        rows = np.round(rng.normal(70, 2, (n, 1)) + rng.normal(0, 0.6, (n, k)), 1)
        long = {"t": np.repeat(range(n), k), "r": np.tile(range(k), n), "v": rows.ravel()}
        theirs = intraclass_corr(DataFrame(long), "t", "r", "v").set_index("Type").loc["ICC(A,1)"]
        found = icc(rows.tolist())
        assert found.value == pytest.approx(theirs["ICC"])
        assert (found.low, found.high) == pytest.approx(theirs["CI95"], abs=0.005001)


# Source: scipy.stats.f.ppf.
def test_quantiles_of_f_are_scipys():
    rng = np.random.default_rng(12)
    for p in (0.025, 0.5, 0.975):
        for first, second in rng.uniform(0.5, 300, (20, 2)):
            assert f_quantile(p, first, second) == pytest.approx(stats.f.ppf(p, first, second), rel=1e-8)


def test_agreement_on_one_and_the_same_value_says_nothing():
    assert icc([(2, 2), (2, 2)]) is None
    assert icc([(1, 2), (1, 2)]) == (0, 0, 0)
    assert icc([(1, 1), (2, 2), (3, 3)]) == (1, 1, 1)
    assert kappa([[5, 0], [0, 0]]) is None


# Source: printout in the tests of statsmodels.
def test_kappa_is_the_published_one():
    assert kappa([[0, 4, 1], [0, 8, 0], [0, 1, 5]]) == pytest.approx(0.4842, abs=5e-5)


# Source: statsmodels.stats.inter_rater.cohens_kappa.
def test_kappas_are_statsmodels():
    rng = np.random.default_rng(5)
    for _ in range(50):
        size = int(rng.integers(2, 6))
        table = rng.integers(0, 12, (size, size)) + np.eye(size, dtype=int)
        assert kappa(table.tolist()) == pytest.approx(cohens_kappa(table, return_results=False))
