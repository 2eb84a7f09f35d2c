"""The manager's pages: the list of visits with their verdicts, and one visit with its trail."""

import asyncio
from collections.abc import Callable

from markupsafe import Markup
from nicegui.client import Client

from chairapp.audit.one_visit import visit_markup
from chairapp.clinic import MANAGER, ClinicDocument, local
from chairapp.elements.frame import Frame, Page, chip, html
from chairapp.elements.verdicts import tally
from chairapp.register import Line, NoSequence, Register, words_of

__all__ = ["add_audit_pages"]

Received = Callable[[str], dict[str, int]]

PAGE = 50


def add_audit_pages(
    page: Page, frame: Callable[[], Frame], register: Register, clinic: Callable[[], ClinicDocument], received: Received
) -> None:
    """/audit and /audit/VISIT."""

    @page("/audit", may=MANAGER)
    async def visits(signed: int = 0, open: int = 0) -> None:
        made = await asyncio.to_thread(_lists, register, clinic(), max(signed, 0), max(open, 0))
        with frame().page("Audit", "/audit"):
            html(made)

    @page("/audit/{visit}", may=MANAGER)
    async def visit(visit: str, client: Client) -> None:
        line = await asyncio.to_thread(register.line, visit)
        with frame().page("Visit" if line else "No such visit", "/audit"):
            if line is None:
                client.status_code = 404
                html(
                    Markup(
                        '<h1>No such visit</h1><p class="tm-lead">This clinic server has none by that id.</p>{}'
                    ).format(_BACK)
                )
            else:
                html(await asyncio.to_thread(visit_markup, register, line, clinic(), received(visit)))


_BACK = Markup('<p><a class="tm-button" href="/audit">All visits</a></p>')


# ---- the list


def _lists(register: Register, clinic: ClinicDocument, signed_from: int, open_from: int) -> Markup:
    lines = register.lines()
    signed = [line for line in lines if line.signed]
    unsigned = [line for line in lines if not line.signed]
    return Markup('<h1>Visits</h1><p class="tm-lead">{}</p>{}{}').format(
        _counted(len(signed), len(unsigned)),
        _section("Signed", signed, signed_from, "signed", register, clinic),
        _section("Not signed yet", unsigned, open_from, "open", register, clinic),
    )


def _counted(signed: int, unsigned: int) -> str:
    return f"{signed} signed, {unsigned} not signed yet. Times are the clinic's own."


def _section(
    title: str, lines: list[Line], first: int, name: str, register: Register, clinic: ClinicDocument
) -> Markup:
    if not lines:
        return Markup('<h2>{}</h2><p class="tm-empty">None.</p>').format(title)
    rows = Markup("").join(_row(line, register, clinic) for line in lines[first : first + PAGE])
    return Markup('<h2>{}</h2><ul class="tm-list">{}</ul>{}').format(title, rows, _turn(len(lines), first, name))


def _turn(total: int, first: int, name: str) -> Markup:
    """Newer and older, where there is more than one page."""
    links = [(max(first - PAGE, 0), "Newer")] if first else []
    if first + PAGE < total:
        links.append((first + PAGE, "Older"))
    made = [Markup('<a class="tm-button" href="/audit?{}={}">{}</a>').format(name, at, word) for at, word in links]
    return (
        Markup('<p class="tm-buttons" style="margin-top:1rem">{}</p>').format(Markup("").join(made))
        if made
        else Markup("")
    )


def _row(line: Line, register: Register, clinic: ClinicDocument) -> Markup:
    when = local(line.opened, clinic).strftime("%d %b %Y, %H:%M")
    return Markup(
        '<li><a class="tm-row" href="/audit/{}"><div><span class="tm-code">{}-{}</span>'
        '<p class="tm-soft tm-small">{}</p></div>'
        '<div><p>{}</p><p class="tm-soft tm-small">chair {}</p></div>{}</a></li>'
    ).format(
        line.visit,
        line.code[:4],
        line.code[4:],
        when,
        clinic.name_of(line.author),
        line.chair,
        _verdicts(line, register),
    )


def _verdicts(line: Line, register: Register) -> Markup:
    try:
        view, sequence = register.view(line.visit), register.sequence(line.visit)
    except NoSequence:
        return chip("open", "its sequence has not arrived")
    chips = tally(view["verdict"], words_of(sequence, "en"))
    signatures = view["state"]["signatures"]
    if signatures and not any(signature["valid"] for signature in signatures):
        return Markup('<div class="tm-chips">{}{}</div>').format(chip("off", "changed after signing"), chips)
    return chips
