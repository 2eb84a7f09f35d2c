"""The statistics behind the manager's figures, in plain Python. Every formula names its source.

Nothing here knows of visits. Intervals are at 95 %.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from chairapp.audit.f_distribution import f_quantile
from chairapp.judge.student import T95, t_quantile

__all__ = [
    "Agreement",
    "Chart",
    "Correlation",
    "Difference",
    "Share",
    "Steadiness",
    "bland_altman",
    "icc",
    "individuals",
    "kappa",
    "newcombe",
    "steadiness",
    "wilson",
]

Z95 = 1.959963984540054
D2 = 2 / math.sqrt(math.pi)
"""What the mean range of two readings is to their SD, 1.128: NIST/SEMATECH e-Handbook, 6.3.2."""


class Share(NamedTuple):
    """`hits` of `of`, as a share with its interval (0-1)."""

    hits: int
    of: int
    value: float
    low: float
    high: float


class Difference(NamedTuple):
    """First share less second, with its interval (-1 to 1)."""

    value: float
    low: float
    high: float


class Steadiness(NamedTuple):
    """`sd` is within one series; two readings differ by less than `coefficient` in 95 of 100 pairs. In mm, as read."""

    sd: float
    coefficient: float


class Chart(NamedTuple):
    """An individuals chart: centre, mean moving range, and the limits that chance alone seldom passes."""

    centre: float
    moving_range: float
    low: float
    high: float


class Agreement(NamedTuple):
    """Second less first: `bias` with its interval, and limits between which 95 of 100 differences lie."""

    n: int
    bias: float
    bias_low: float
    bias_high: float
    sd: float
    low: float
    high: float


class Correlation(NamedTuple):
    """`value` with its interval; 1 is perfect agreement, below 0 is worse than chance."""

    value: float
    low: float
    high: float


def wilson(hits: int, of: int, z: float = Z95) -> Share:
    """The score interval of a share. Source: Wilson 1927; Newcombe 1998, Stat Med 17:857-872, method 3.

    `of` is 1 or more. With `hits` 0 it begins at exactly 0, with all at exactly 1.
    """
    share, square = hits / of, z * z
    middle = (share + square / (2 * of)) / (1 + square / of)
    half = z * math.sqrt(share * (1 - share) / of + square / (4 * of * of)) / (1 + square / of)
    return Share(hits, of, share, middle - half if hits else 0.0, middle + half if hits < of else 1.0)


def newcombe(first: Share, second: Share) -> Difference:
    """The difference of two independent shares. Source: Newcombe 1998, Stat Med 17:873-890, method 10."""
    value = first.value - second.value
    below = math.hypot(first.value - first.low, second.high - second.value)
    above = math.hypot(first.high - first.value, second.value - second.low)
    return Difference(value, value - below, value + above)


def steadiness(squares: float, freedom: int, z: float = Z95) -> Steadiness:
    """From the squares of all readings about the mean of their own series, summed, and the degrees of freedom.

    `freedom` is the sum of n - 1 over the series, 1 or more. Source: Bland & Altman 1986, Lancet i:307-310, whose
    coefficient takes 2 for z. For pairs the SD is Dahlberg's error, sqrt(sum of d^2 / 2n) (Dahlberg 1940).
    """
    sd = math.sqrt(squares / freedom)
    return Steadiness(sd, z * math.sqrt(2) * sd)


def individuals(values: Sequence[float], d2: float = D2) -> Chart:
    """Of two values or more, in the order they were taken. Source: NIST/SEMATECH e-Handbook, 6.3.2.2."""
    centre = _mean(values)
    moving = _mean([abs(b - a) for a, b in pairwise(values)])
    return Chart(centre, moving, centre - 3 * moving / d2, centre + 3 * moving / d2)


def bland_altman(pairs: Sequence[tuple[float, float]], z: float = Z95) -> Agreement:
    """Of (first, second), two pairs or more. Source: Bland & Altman 1986, Lancet i:307-310; t by the judge's table."""
    differences = [second - first for first, second in pairs]
    n, bias = len(pairs), _mean(differences)
    sd = math.sqrt(_squares(differences) / (n - 1))
    half = t_quantile(n - 1, T95) * sd / math.sqrt(n)
    return Agreement(n, bias, bias - half, bias + half, sd, bias - z * sd, bias + z * sd)


def icc(rows: Sequence[Sequence[float]]) -> Correlation | None:
    """Intraclass correlation, two-way random, absolute agreement, one rating: ICC(2,1).

    One row a thing rated, one column a rater; two rows and two columns or more. None where nothing differs at all.
    Source: Shrout & Fleiss 1979, Psychol Bull 86:420-428, with its interval.
    """
    n, k = len(rows), len(rows[0])
    whole = _mean([value for row in rows for value in row])
    by_row = k * sum((_mean(row) - whole) ** 2 for row in rows)
    by_rater = n * sum((_mean(column) - whole) ** 2 for column in zip(*rows, strict=True))
    total = sum((value - whole) ** 2 for row in rows for value in row)
    rows_ms, raters_ms = by_row / (n - 1), by_rater / (k - 1)
    rest_ms = max(total - by_row - by_rater, 0.0) / ((n - 1) * (k - 1))
    below = rows_ms + (k - 1) * rest_ms + k * (raters_ms - rest_ms) / n
    if below <= 0:
        return None
    value = (rows_ms - rest_ms) / below
    return Correlation(value, *_icc_interval(n, k, value, (rows_ms, raters_ms, rest_ms)))


def _icc_interval(n: int, k: int, value: float, ms: tuple[float, float, float]) -> tuple[float, float]:
    """`ms` are the mean squares between rows, between raters, and of the rest."""
    rows_ms, raters_ms, rest_ms = ms
    a, b = k * value * raters_ms, (n * (1 + (k - 1) * value) - k * value) * rest_ms
    parts = a * a / (k - 1) + b * b / ((n - 1) * (k - 1))
    if parts <= 0:
        return value, value  # no scatter to put an interval around
    freedom = (a + b) ** 2 / parts
    raters = k * raters_ms + (k * n - k - n) * rest_ms
    up, down = f_quantile(0.975, n - 1, freedom), f_quantile(0.975, freedom, n - 1)
    low = n * (rows_ms - up * rest_ms) / (up * raters + n * rows_ms)
    return low, n * (down * rows_ms - rest_ms) / (raters + n * down * rows_ms)


def kappa(table: Sequence[Sequence[int]]) -> float | None:
    """Agreement beyond chance of two raters; table[i][j] counts what the first called i and the second j.

    None where chance alone would agree always. Source: Cohen 1960, Educ Psychol Meas 20:37-46.
    """
    n = sum(map(sum, table))
    firsts, seconds = [sum(row) for row in table], [sum(column) for column in zip(*table, strict=True)]
    seen = sum(table[at][at] for at in range(len(table))) / n
    chance = sum(a * b for a, b in zip(firsts, seconds, strict=True)) / (n * n)
    return (seen - chance) / (1 - chance) if chance < 1 else None


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _squares(values: Sequence[float]) -> float:
    middle = _mean(values)
    return math.fsum((value - middle) ** 2 for value in values)
