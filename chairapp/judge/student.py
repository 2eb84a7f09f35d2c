"""Student's t from a table, and the interval of a difference of two means (Welch).

The table holds two-sided 95 % and 90 % values (0.975 and 0.95 quantiles) at df 1-30, 40, 60, 120 and infinity; between
them it is linear in 1/df. Source: the t distribution, any table of it; tests hold it against scipy.
"""

import math

from chairapp.judge.numbers import mean, variance
from chairapp.judge.shapes import Doc

T95 = [
    12.706205, 4.302653, 3.182446, 2.776445, 2.570582, 2.446912, 2.364624, 2.306004, 2.262157, 2.228139,
    2.200985, 2.178813, 2.160369, 2.144787, 2.131450, 2.119905, 2.109816, 2.100922, 2.093024, 2.085963,
    2.079614, 2.073873, 2.068658, 2.063899, 2.059539, 2.055529, 2.051831, 2.048407, 2.045230, 2.042272,
    2.021075, 2.000298, 1.979930, 1.959964,
]  # fmt: skip
T90 = [
    6.313752, 2.919986, 2.353363, 2.131847, 2.015048, 1.943180, 1.894579, 1.859548, 1.833113, 1.812461,
    1.795885, 1.782288, 1.770933, 1.761310, 1.753050, 1.745884, 1.739607, 1.734064, 1.729133, 1.724718,
    1.720743, 1.717144, 1.713872, 1.710882, 1.708141, 1.705618, 1.703288, 1.701131, 1.699127, 1.697261,
    1.683851, 1.670649, 1.657651, 1.644854,
]  # fmt: skip
_NO_SCATTER = 1e-18
_INVERSE = [1 / df for df in range(1, 31)] + [1 / 40, 1 / 60, 1 / 120, 0.0]


def t_quantile(df: float, table: list[float]) -> float:
    """t at df degrees of freedom (at least 1), linear in 1/df between the rows of the table."""
    inverse = 1 / df
    at = 1
    while _INVERSE[at] > inverse:
        at = at + 1
    wide, narrow = _INVERSE[at - 1], _INVERSE[at]
    share = (inverse - narrow) / (wide - narrow)
    return table[at] + share * (table[at - 1] - table[at])


def floored_variance(values: list[float], pad: float) -> float:
    """The sample variance, never under pad^2 / 12: a pad of half a millimetre cannot show less."""
    return max(variance(values), pad * pad / 12)


def interval(difference: float, a: Doc, b: Doc, table: list[float]) -> tuple[float, float]:
    """The interval of a difference of means from {"n", "v"} of both series (n at least 2), by Welch's df."""
    se2 = a["v"] / a["n"] + b["v"] / b["n"]
    # no scatter and no pad: there is nothing to be uncertain of
    half = t_quantile(welch_df(a, b), table) * math.sqrt(se2) if se2 > _NO_SCATTER else 0.0
    return (difference - half, difference + half)


def welch_df(a: Doc, b: Doc) -> float:
    """Degrees of freedom of a difference of two means (Welch 1947, Satterthwaite 1946)."""
    share_a, share_b = a["v"] / a["n"], b["v"] / b["n"]
    se2 = share_a + share_b
    return float(se2 * se2 / (share_a * share_a / (a["n"] - 1) + share_b * share_b / (b["n"] - 1)))


def series(values: list[float], pad: float) -> Doc:
    """{"n", "mean", "v"} of readings; v null under two readings."""
    v = floored_variance(values, pad) if len(values) > 1 else None
    return {"n": len(values), "mean": mean(values), "v": v}
