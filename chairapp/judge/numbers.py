"""Numbers that come out the same on the server and in the browser, to the last digit.

`tan` and `atan` differ in the last place between the two, so every number leaves through `fix6` and every comparison
with a limit is made on numbers so rounded. Sums run from left to right: Python 3.12 changed what `sum` of floats gives.
"""

import math

from chairapp.judge.shapes import Value

TOLERANCE = 1e-9


def fix6(x: float) -> float:
    """The number to 6 decimals, half away from zero, so that left and right round alike; never minus zero."""
    if x < 0:
        return -math.floor(0.5 - x * 1e6) / 1e6 + 0.0
    return math.floor(x * 1e6 + 0.5) / 1e6 + 0.0


def at_most(a: float, b: float) -> bool:
    """Is a <= b, limits inside?"""
    return fix6(a) <= fix6(b) + TOLERANCE


def at_least(a: float, b: float) -> bool:
    """Is a >= b, limits inside?"""
    return at_most(b, a)


def within(x: float, band: list[float | None] | None) -> bool:
    """Does x lie in [lowest, highest], limits inside? A null side is open, and so is no band at all."""
    if band is None:
        return True
    low, high = band
    return (low is None or at_least(x, low)) and (high is None or at_most(x, high))


def total(values: list[float]) -> float:
    """The sum, added from left to right."""
    whole = 0.0
    for value in values:
        whole = whole + value
    return whole


def mean(values: list[float]) -> float:
    """The arithmetic mean of at least one number."""
    return total(values) / len(values)


def spread(values: list[float]) -> float:
    """Greatest minus smallest of at least one number."""
    return max(values) - min(values)


def variance(values: list[float]) -> float:
    """The sample variance (divided by n - 1) of at least two numbers."""
    middle = mean(values)
    return total([(value - middle) * (value - middle) for value in values]) / (len(values) - 1)


def to_step(x: float, step: float) -> float:
    """The nearest whole multiple of step, a half away from zero: -1.25 on half millimetres is -1.5."""
    steps = math.floor(abs(fix6(x)) / step + 0.5 + TOLERANCE)
    return fix6(-steps * step if x < 0 else steps * step)


def number_text(x: float, places: int = 2) -> str:
    """The number in digits, at most `places` decimals, no trailing noughts: -0.25, 1.5, 400. Halves go away from zero.

    Made of whole hundredths, never of the language's own formatting, which differs between Python and the browser.
    """
    scale = 10**places
    whole = math.floor(abs(fix6(x)) * scale + 0.5 + TOLERANCE)
    digits = str(whole // scale)
    rest = str(whole % scale)
    rest = "0" * (places - len(rest)) + rest
    while rest.endswith("0"):
        rest = rest[:-1]
    sign = "-" if x < 0 and whole > 0 else ""
    return sign + digits + ("." + rest if rest else "")


def signed_text(x: float, places: int = 2) -> str:
    """Like number_text, with a plus sign before what is more than nothing."""
    text = number_text(x, places)
    return text if text == "0" or text.startswith("-") else "+" + text


def is_number(x: Value) -> bool:
    """A plain finite number of a size that mm and degrees can have; true and false are none.

    By the name of the type: in the browser 400.0 arrives as an int, so a finer question has no answer there.
    """
    return type(x).__name__ in ("int", "float") and -1e6 <= x <= 1e6
