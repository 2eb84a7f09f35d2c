"""Steadiness: how far repeated readings lie apart, and the interocclusal distance from visit to visit."""

from typing import Any, NamedTuple

from markupsafe import Markup

from chairapp.audit.asked import Asked
from chairapp.audit.figures import CHARTED, Distance, Figures, Steady
from chairapp.audit.page_parts import codeword, mm, plot, table, too_few, when_ms
from chairapp.audit.plots import distance_plot
from chairapp.audit.statistics import Chart
from chairapp.audit.told import Told, about, nothing, too_few_of
from chairapp.elements.frame import html

__all__ = ["Steadinesses", "ask", "show"]


class Steadinesses(NamedTuple):
    steady: list[Steady]
    distances: list[Distance]
    chart: Chart | None


def ask(figures: Figures, asked: Asked) -> Steadinesses:
    return Steadinesses(figures.steady(asked), *figures.distances(asked))


def show(found: Steadinesses, told: Told) -> None:
    about(
        "How far readings of one person in one round lie apart. Two readings of the same patient by the same person "
        "differ by less than the repeatability coefficient in 95 of 100 pairs. Readings that were taken back are not "
        "among them. Smaller is steadier; it says nothing of being right."
    )
    if found.steady:
        rows = [_steady(row, told) for row in found.steady]
        heads = ("Clinician", "Item", "Visits", "Readings", "Within-visit SD", "Repeatability", "Dahlberg’s error")
        html(table(heads, rows, figures=(2, 3, 4, 5, 6), caption="Repeated readings", seen=True))
    else:
        nothing("No item was read more than once by one person in this period.")
    html(Markup("<h2>Interocclusal distance, visit by visit</h2>"))
    _distances(found, told)


def _steady(row: Steady, told: Told) -> tuple[Any, ...]:
    within = (mm(row.within.sd), mm(row.within.coefficient)) if row.within else (too_few(), too_few())
    who = told.clinic.name_of(row.author)
    return who, told.item(row.item), f"{row.series:,}", f"{row.readings:,}", *within, mm(row.dahlberg)


def _distances(found: Steadinesses, told: Told) -> None:
    if not found.distances:
        nothing("No signed visit of this period has one.")
        return
    if found.chart is None:
        html(too_few_of(len(found.distances)))
    else:
        _chart(found.distances, found.chart, told)
    rows = [_distance(one, told) for one in reversed(found.distances)]
    values = table(("Visit", "Opened", "Distance"), rows, figures=(2,), caption="Interocclusal distances")
    more = '<details class="tm-more"><summary>The {} values</summary>{}</details>'
    html(Markup(more).format(len(rows), values))  # noqa: S704 - ours


def _chart(distances: list[Distance], chart: Chart, told: Told) -> None:
    whose = told.clinic.name_of(told.asked.clinician) if told.asked.clinician else "all clinicians (choose one above)"
    about(
        f"The latest {CHARTED} signed visits of {whose}. Within the limits is what chance from visit to visit looks "
        "like; a point outside, a diamond, is worth a look at its visit. The shaded band is the clinic’s."
    )
    values = [(when_ms(one.opened_ms, told.clinic)[:6], one.mm) for one in distances]
    band = told.sequence["bands"]["interocclusal_distance"]
    plot(distance_plot(values, chart, band), "Individuals chart of the interocclusal distance", "22rem")
    row = (f"{len(distances)}", mm(chart.centre), mm(chart.moving_range), mm(chart.low), mm(chart.high))
    heads = ("Visits", "Centre", "Mean moving range", "Lower limit", "Upper limit")
    html(table(heads, [row], figures=(0, 1, 2, 3, 4), caption="The chart in figures"))


def _distance(one: Distance, told: Told) -> tuple[Any, ...]:
    link = Markup('<a class="tm-code" href="/audit/{}">{}</a>').format(one.visit, codeword(one.code))
    return link, when_ms(one.opened_ms, told.clinic), mm(one.mm)
