"""A visit's verdicts in one line, for lists and for the box page."""

from collections import Counter
from collections.abc import Callable
from typing import Any

from markupsafe import Markup

from chairapp.elements.frame import chip

__all__ = ["ORDER", "tally"]

ORDER = ("off", "unsure", "stale", "open", "accepted", "fits")


def tally(verdict: dict[str, Any], words: Callable[[str], str]) -> Markup:
    """How many of the required steps are off, unsure ..., worst first, as chips."""
    counted = Counter(step["verdict"] for step in verdict["steps"].values() if step["required"])
    chips = [chip(name, f"{counted[name]} {words(f'verdict.{name}')}") for name in ORDER if counted[name]]
    return Markup('<div class="tm-chips">{}</div>').format(Markup("").join(chips))
