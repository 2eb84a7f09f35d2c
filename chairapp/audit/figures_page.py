"""/audit/figures: completeness and acceptances, steadiness, outcomes, agreement; each plot beside its table."""

import asyncio
from collections.abc import Callable
from typing import Any, NamedTuple

from markupsafe import Markup

from chairapp.audit import figures_agreement, figures_outcomes, figures_steadiness, figures_steps
from chairapp.audit.asked import Asked
from chairapp.audit.figures import ENOUGH, Figures
from chairapp.audit.list_page import form
from chairapp.audit.page_parts import joined
from chairapp.audit.sources import Sources
from chairapp.audit.told import Told
from chairapp.clinic import ClinicDocument
from chairapp.elements.frame import html
from chairapp.register import words_of

__all__ = ["PARTS", "show_figures"]

HERE = "/audit/figures"


class Part(NamedTuple):
    """`ask` is asked of the database, in a thread; `show` puts on the page what it gave."""

    name: str
    ask: Callable[[Figures, Asked], Any]
    show: Callable[[Any, Told], None]


PARTS = {
    "steps": Part("Completeness", figures_steps.ask, figures_steps.show),
    "steadiness": Part("Steadiness", figures_steadiness.ask, figures_steadiness.show),
    "outcomes": Part("Outcomes", figures_outcomes.ask, figures_outcomes.show),
    "agreement": Part("Agreement", figures_agreement.ask, figures_agreement.show),
}


async def show_figures(sources: Sources, named: str, asked: Asked, wrong: str = "") -> None:
    """One part of the figures over the visits asked for; `wrong` is what was wrong with the address."""
    clinic, sequence, part = sources.clinic(), sources.sequence(), PARTS[named]
    people, chairs = await asyncio.to_thread(sources.listing.people)
    html(Markup("<h1>{}</h1>{}").format(part.name, _ways(named, asked)))
    if wrong:
        html(Markup('<div class="tm-note tm-off" role="alert"><p>{}.</p></div>').format(wrong))
    html(
        Markup(
            '<details class="tm-more"><summary>Period, clinician, chair</summary>{}</details><p class="tm-as-of">{}</p>'
        ).format(form(f"{HERE}/{named}", asked, people, chairs, clinic, Markup("")), _over(asked, clinic))
    )
    found = await asyncio.to_thread(part.ask, sources.figures, asked)
    part.show(found, Told(asked, clinic, sequence, words_of(sequence, "en")))


def _ways(here: str, asked: Asked) -> Markup:
    links = joined(
        Markup('<a href="{}/{}?{}"{}>{}</a>').format(
            HERE, named, asked.query or "since=", Markup(' aria-current="page"') if named == here else "", part.name
        )
        for named, part in PARTS.items()
    )
    return Markup('<nav class="tm-ways-within tm-parts" aria-label="Figures">{}</nav>').format(links)


def _over(asked: Asked, clinic: ClinicDocument) -> str:
    said = [f"Visits opened {_days(asked)}"]
    said += [f"by {clinic.name_of(asked.clinician)}"] if asked.clinician else []
    said += [f"at chair {asked.chair}"] if asked.chair else []
    return f"{', '.join(said)}. Intervals are at 95 %. Of fewer than {ENOUGH} only the count is given."


def _days(asked: Asked) -> str:
    if asked.since and asked.until:
        return f"from {asked.since:%d %b %Y} to {asked.until:%d %b %Y}"
    if asked.since:
        return f"since {asked.since:%d %b %Y}"
    return f"up to {asked.until:%d %b %Y}" if asked.until else "at any time"
