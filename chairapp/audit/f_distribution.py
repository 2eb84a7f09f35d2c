"""Quantiles of the F distribution by the incomplete beta function: what an interval of agreement is made from."""

import math

__all__ = ["f_quantile"]

_STEPS = 500
_NARROW = 1e-12
_TINY = 1e-300


def f_quantile(p: float, first: float, second: float) -> float:
    """The value that F with `first` and `second` degrees of freedom (above 0, any fraction) stays under with `p` (0-1).

    F = x / (1 - x) * second / first, with x the quantile of the beta distribution; found by halving.
    Source: Abramowitz & Stegun 1964, 26.5.22 and 26.6.2.
    """
    low, high = 0.0, 1.0
    while high - low > _NARROW * high:
        middle = (low + high) / 2
        if _beta_share(middle, first / 2, second / 2) < p:
            low = middle
        else:
            high = middle
    return high / (1 - high) * second / first if high < 1 else math.inf


def _beta_share(x: float, a: float, b: float) -> float:
    """The regularized incomplete beta function, 0-1. Source: Abramowitz & Stegun 1964, 26.5.2."""
    if x > (a + 1) / (a + b + 2):
        # The fraction converges fast on this side only.
        return 1 - _beta_share(1 - x, b, a)
    if x <= 0:
        return 0.0
    size = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    return math.exp(size) / (a * _fraction(x, a, b))


def _fraction(x: float, a: float, b: float) -> float:
    """The continued fraction 1 + d1/(1 + d2/(1 + ...)), from its front. Source: Abramowitz & Stegun 1964, 26.5.8."""
    value = above = 1.0
    below = 0.0
    for step in range(1, _STEPS):
        m = step // 2
        if step % 2:
            part = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        else:
            part = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        below = 1 / ((1 + part * below) or _TINY)
        above = (1 + part / above) or _TINY
        value *= above * below
        if abs(above * below - 1) < _NARROW:
            break
    return value
