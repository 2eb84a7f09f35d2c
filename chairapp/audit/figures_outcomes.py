"""Outcomes: records repeated at the try-in, with something accepted and without; what had to be corrected."""

from markupsafe import Markup

from chairapp.audit.asked import Asked
from chairapp.audit.figures import ENOUGH, Figures, Outcomes
from chairapp.audit.page_parts import share, table
from chairapp.audit.statistics import Difference
from chairapp.audit.told import Told, about
from chairapp.audit.trail import FIXED
from chairapp.elements.frame import html

__all__ = ["ask", "show"]


def ask(figures: Figures, asked: Asked) -> Outcomes:
    return figures.outcomes(asked)


def show(found: Outcomes, _told: Told) -> None:
    about(
        "Of the visits that were tried in: was the jaw relation record repeated? Visits in which a step was accepted "
        "outside its band stand beside the others. The two sorts of visit differ in more than that, so a difference is "
        "no cause."
    )
    some, none, difference = found.shares or (None, None, None)
    rows = [
        ("Something accepted", f"{found.accepted[1]:,}", f"{found.accepted[0]:,}", share(some)),
        ("Nothing accepted", f"{found.plain[1]:,}", f"{found.plain[0]:,}", share(none)),
    ]
    html(
        table(
            ("Visits with", "Tried in", "Repeated", "Share"),
            rows,
            figures=(1, 2, 3),
            caption="Record repeated",
            seen=True,
        )
    )
    html(_difference(difference))
    fixes = [(FIXED[what].capitalize(), f"{times:,}", share(one)) for what, (times, one) in found.fixes.items()]
    html(
        Markup("<h2>To be corrected at the try-in</h2>{}").format(
            table(("What", "Visits", "Share"), fixes, figures=(1, 2), caption="To be corrected")
        )
    )


def _difference(one: Difference | None) -> Markup:
    if one is None:
        told = f"Too few for a comparison: it needs {ENOUGH} of each."
        return Markup('<p class="tm-soft tm-under">{}</p>').format(told)
    value, low, high = (f"{100 * part:+.0f}" for part in one)
    told = f"Difference: {value} percentage points (from {low} to {high})."
    return Markup('<p class="tm-said tm-under">{}</p>').format(told)
