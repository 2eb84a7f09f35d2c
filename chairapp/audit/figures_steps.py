"""Completeness and acceptances: what became of each step, why steps were accepted, and month by month."""

from typing import Any, NamedTuple

from markupsafe import Markup

from chairapp.audit.asked import Asked
from chairapp.audit.figures import KINDS, Figures, Month, Reason, StepShares
from chairapp.audit.page_parts import joined, plot, share, table
from chairapp.audit.plots import shares_plot, trend_plot
from chairapp.audit.told import Told, about, nothing
from chairapp.elements.frame import html

__all__ = ["Completeness", "ask", "show"]

_REASONS = 20


class Completeness(NamedTuple):
    steps: list[StepShares]
    reasons: list[Reason]
    months: list[Month]


def ask(figures: Figures, asked: Asked) -> Completeness:
    return Completeness(figures.steps(asked), figures.reasons(asked), figures.months(asked))


def show(found: Completeness, told: Told) -> None:
    about(
        "What became of each step that counts, in visits that were signed. A step was not measured when it has no "
        "reading, or none since the wax or an answer changed."
    )
    if not found.steps:
        nothing("No visit of this period is signed.")
        return
    _steps(found.steps, told)
    html(Markup("<h2>Reasons</h2>"))
    _reasons(found.reasons, told)
    html(Markup("<h2>By month</h2>"))
    _months(found.months)


def _steps(steps: list[StepShares], told: Told) -> None:
    order = [step["id"] for step in told.sequence["steps"]]
    steps = sorted(steps, key=lambda row: order.index(row.step) if row.step in order else len(order))
    shares = [
        (told.step(row.step), {kind: one.value for kind, one in row.shares.items()}) for row in steps if row.shares
    ]
    if shares:
        said = "Share of signed visits in which each step fits, was accepted, is off or unsure, or was not measured"
        plot(shares_plot(shares, KINDS), said, f"{6 + 1.9 * len(shares):.0f}rem")
    rows = [(told.step(row.step), f"{row.of:,}", *_kinds(row)) for row in steps]
    html(
        table(
            ("Step", "Visits", *KINDS.values()),
            rows,
            figures=(1, 2, 3, 4, 5),
            caption="Steps of signed visits",
            seen=True,
        )
    )


def _kinds(row: StepShares) -> list[Any]:
    """How many visits of each kind; the share in its place where there are enough."""
    if row.shares is None:
        return [f"{row.counts[kind]:,}" for kind in KINDS]
    return [share(row.shares[kind]) for kind in KINDS]


def _reasons(reasons: list[Reason], told: Told) -> None:
    if not reasons:
        nothing("Nothing was accepted outside its band.")
        return
    by_step: dict[str, list[Reason]] = {}
    for one in reasons:
        by_step.setdefault(one.step, []).append(one)
    groups = sorted(by_step.items(), key=lambda group: -_times(group[1]))
    html(joined(_reasons_of(told.step(step), found, told) for step, found in groups))
    asked = told.asked.but(only="accepted").query
    html(Markup('<p class="tm-under"><a href="/audit?{}">The visits behind them</a></p>').format(asked))


def _reasons_of(step: str, reasons: list[Reason], told: Told) -> Markup:
    rows = [(one.reason, f"{one.times:,}", told.people(one.by)) for one in reasons[:_REASONS]]
    if left := _times(reasons[_REASONS:]):
        rows.append((f"{len(reasons) - _REASONS:,} other reasons", f"{left:,}", ""))
    caption = f"{step}: accepted in {_times(reasons):,}"
    return table(("Reason", "Times", "Accepted by"), rows, figures=(1,), caption=caption, seen=True)


def _times(reasons: list[Reason]) -> int:
    return sum(one.times for one in reasons)


def _months(months: list[Month]) -> None:
    shares = [(one.month, one.accepted.value if one.accepted else None) for one in months]
    if sum(value is not None for _, value in shares) > 1:
        plot(trend_plot(shares), "Share of steps accepted outside their band, by month of opening", "16rem")
    rows = [_month(one) for one in months]
    heads = ("Month", "Opened", "Signed", "Signed and complete", "Finished", "Steps accepted")
    html(table(heads, rows, figures=(1, 2, 3, 4, 5), caption="Visits by month and state"))


def _month(one: Month) -> tuple[Any, ...]:
    counts = (one.opened, one.signed, one.complete, one.finished)
    return (
        Markup('<span class="tm-code">{}</span>').format(one.month),
        *(f"{count:,}" for count in counts),
        share(one.accepted),
    )
