"""One visit of the list: its box, when and by whom, where it stands, its verdicts, what was accepted and why."""

from markupsafe import Markup

from chairapp.audit.listing import Listed
from chairapp.audit.page_parts import codeword, joined, when
from chairapp.audit.summed import STATES, VERDICTS
from chairapp.clinic import ClinicDocument
from chairapp.elements.frame import chip
from chairapp.register import Words

__all__ = ["listed"]

_CHIP_OF = {
    "open": "open",
    "half": "open",
    "changed": "off",
    "signed": "fits",
    "finished": "fits",
    "unjudged": "open",
}
_SAID = 4


def listed(visit: Listed, clinic: ClinicDocument, words: Words) -> Markup:
    row = visit.row
    return Markup(
        '<li><a class="tm-row" href="/audit/{}"><div><span class="tm-code">{}</span>'
        '<p class="tm-soft tm-small">{}</p></div><div><p>{}</p><p class="tm-soft tm-small">{}</p></div>{}{}</a></li>'
    ).format(
        row.visit,
        codeword(row.code),
        when(row.opened, clinic),
        clinic.name_of(row.author) or "Nobody yet",
        f"chair {row.chair}" if row.chair else "",
        _chips(visit, words),
        _because(visit, clinic, words),
    )


def _chips(visit: Listed, words: Words) -> Markup:
    row = visit.row
    chips = [chip(_CHIP_OF[row.state], STATES[row.state].lower())]
    if visit.overdue:
        chips.append(chip("off", "box overdue"))
    if row.changed and row.state != "changed":
        chips.append(chip("off", "changed after signing"))
    counts = [(verdict, getattr(row, verdict)) for verdict in VERDICTS]
    chips += [chip(verdict, f"{count} {words(f'verdict.{verdict}')}") for verdict, count in counts if count]
    return Markup('<div class="tm-chips">{}</div>').format(joined(chips))


def _because(visit: Listed, clinic: ClinicDocument, words: Words) -> Markup:
    """What a manager would open the visit for: accepted and why, missing at a signed visit, why it cannot be judged."""
    said = [
        Markup("{} accepted by {}: {}").format(words(f"step.{one.step}.title"), clinic.name_of(one.by), one.reason)
        for one in visit.accepted
    ]
    if visit.missing and visit.row.was_signed:
        steps = [words(f"step.{step}.title") for step in visit.missing]
        more = f" and {len(steps) - _SAID} more" if len(steps) > _SAID else ""
        said.append(Markup("Missing: {}{}").format(", ".join(steps[:_SAID]), more))
    if visit.row.trouble:
        said.append(Markup("{}").format(visit.row.trouble))
    if visit.row.repeat:
        said.append(Markup("The record was repeated at the try-in"))
    return joined(Markup('<p class="tm-because">{}</p>').format(one) for one in said)
