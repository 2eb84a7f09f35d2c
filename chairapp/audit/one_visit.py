"""One visit as the manager sees it: signatures, verdicts then and now, rounds, wax, the box, and the trail."""

from markupsafe import Markup

from chairapp.audit import visit_parts as parts
from chairapp.audit.page_parts import codeword, joined, when
from chairapp.audit.sources import Sources
from chairapp.audit.timeline import timeline
from chairapp.audit.trail import trail
from chairapp.clinic import ClinicDocument
from chairapp.register import Line, NoSequence, words_of

__all__ = ["visit_markup"]


def visit_markup(sources: Sources, line: Line) -> Markup:
    """Everything there is of a visit, from its entries as they are now."""
    clinic = sources.clinic()
    head = _head(line, clinic)
    try:
        view, sequence = sources.register.view(line.visit), sources.register.sequence(line.visit)
    except NoSequence:
        return head + Markup(
            '<div class="tm-note tm-open tm-listed"><h3>Its sequence has not arrived</h3>'
            "<p>The visit cannot be judged here before the sequence it was opened with is known.</p></div>"
        )
    entries, received = sources.register.entries(line.visit), sources.received(line.visit)
    seen = parts.Seen(view, sequence, entries, clinic, words_of(sequence, "en"))
    names = {heard.device.id: heard.device.name for heard in sources.devices()}
    sections = (
        parts.signatures(seen, sources.proof),
        parts.verdicts(seen),
        parts.acceptances(seen),
        parts.rounds(seen),
        parts.wax(seen),
        parts.second_readings(seen),
        parts.box(seen, line, sources.label_on),
        timeline(trail(sequence, entries, clinic, received, "en", names)),
    )
    return head + joined(sections)


def _head(line: Line, clinic: ClinicDocument) -> Markup:
    facts = (
        ("Clinician", clinic.name_of(line.author)),
        ("Chair", line.chair),
        ("Opened", when(line.opened, clinic)),
        ("Last entry", when(line.last, clinic)),
    )
    told = joined(Markup("<div><dt>{}</dt><dd>{}</dd></div>").format(*fact) for fact in facts)
    return Markup('<p class="tm-soft">Visit</p><h1 class="tm-code">{}</h1><dl class="tm-facts">{}</dl>').format(
        codeword(line.code), told
    )
