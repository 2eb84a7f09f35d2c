"""Wax: what to change, and what was changed."""

from chairapp.elements.offline import Page


class WaxPlan(Page, component="tm_wax_plan.js"):
    """The plan on the rim map and in words, one tap when it was done so, and the adjustments made."""


class Adjust(Page, component="tm_adjust.js"):
    """Records wax added or taken off, or a base relieved: rim, face, places, mm."""
