"""The manager's pages and their addresses."""

import asyncio
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime

from fastapi import Request
from fastapi.responses import RedirectResponse, Response
from markupsafe import Markup
from nicegui.client import Client

from chairapp.audit.asked import Asked, Cursor, asked_of, cursor_of
from chairapp.audit.devices_page import DevicesPage
from chairapp.audit.errors import AskedError
from chairapp.audit.figures_page import PARTS, show_figures
from chairapp.audit.integrity_page import IntegrityPage
from chairapp.audit.list_page import ListPage
from chairapp.audit.one_visit import visit_markup
from chairapp.audit.page_parts import audit_page, codeword, joined
from chairapp.audit.sources import Found, Sources
from chairapp.clinic import MANAGER, ClinicDocument, local
from chairapp.elements.frame import Frame, Page, html

__all__ = ["add_audit_pages"]

_FIGURES_MONTHS = 6


def add_audit_pages(page: Page, frame: Callable[[], Frame], sources: Sources) -> None:
    """/audit and what is under it; to be added after pages with a name of their own there."""
    _add_list(page, frame, sources)
    _add_figures(page, frame, sources)
    _add_house(page, frame, sources)
    _add_visit(page, frame, sources)


def _add_list(page: Page, frame: Callable[[], Frame], sources: Sources) -> None:
    @page("/audit", may=MANAGER)
    async def visits(request: Request) -> Response | None:
        query = request.query_params
        if typed := query.get("code", "").strip():
            found = await asyncio.to_thread(sources.find, typed)
            if len(found.visits) == 1:
                return RedirectResponse(f"/audit/{found.visits[0]}", 303)
            with audit_page(frame, "Box", "/audit"):
                html(_search_result(typed, found))
            return None
        asked, cursor, wrong = _read(query)
        with audit_page(frame, "Audit", "/audit"):
            await ListPage(sources, frame, asked, cursor, wrong).build()
        return None


def _add_figures(page: Page, frame: Callable[[], Frame], sources: Sources) -> None:
    @page("/audit/figures", may=MANAGER)
    async def figures(request: Request) -> None:
        await show("steps", request)

    @page("/audit/figures/{part}", may=MANAGER)
    async def figures_of(part: str, request: Request, client: Client) -> None:
        if part in PARTS:
            await show(part, request)
            return
        client.status_code = 404
        with audit_page(frame, "No such figures", "/audit/figures"):
            html(Markup('<h1>No such figures</h1><p><a class="tm-button" href="/audit/figures">Figures</a></p>'))

    async def show(part: str, request: Request) -> None:
        asked, _, wrong = _read(request.query_params)
        if "since" not in request.query_params and asked.until is None:
            asked = asked.but(since=_recently(sources.clinic()))
        with audit_page(frame, PARTS[part].name, "/audit/figures"):
            await show_figures(sources, part, asked, wrong)


def _add_house(page: Page, frame: Callable[[], Frame], sources: Sources) -> None:
    @page("/audit/devices", may=MANAGER)
    async def devices() -> None:
        with audit_page(frame, "Tablets and nodes", "/audit/devices"):
            await DevicesPage(sources).build()

    @page("/audit/integrity", may=MANAGER)
    def integrity() -> None:
        with audit_page(frame, "Integrity", "/audit/integrity"):
            IntegrityPage(sources).build()


def _add_visit(page: Page, frame: Callable[[], Frame], sources: Sources) -> None:
    @page("/audit/{visit}", may=MANAGER)
    async def visit(visit: str, client: Client) -> None:
        line = await asyncio.to_thread(sources.register.line, visit)
        with audit_page(frame, "Visit" if line else "No such visit", ""):
            if line is None:
                client.status_code = 404
                html(
                    Markup(
                        '<h1>No such visit</h1><p class="tm-lead">This clinic server has none by that id.</p>{}'
                    ).format(_BACK)
                )
            else:
                html(await asyncio.to_thread(visit_markup, sources, line))


_BACK = Markup('<p><a class="tm-button" href="/audit">All visits</a></p>')


def _read(query: Mapping[str, str]) -> tuple[Asked, Cursor | None, str]:
    """What an address asks for, and what is wrong with it: then everything is listed and the page says why."""
    try:
        return asked_of(query), cursor_of(query.get("page", "")), ""
    except AskedError as error:
        return Asked(), None, str(error)


def _recently(clinic: ClinicDocument) -> date:
    """The first day of the months that figures are over when nothing is asked: whole ones, this one the last."""
    today = local(datetime.now(UTC).isoformat(), clinic).date()
    months = today.year * 12 + today.month - _FIGURES_MONTHS
    return date(months // 12, months % 12 + 1, 1)


def _search_result(typed: str, found: Found) -> Markup:
    """Several visits with one code, or none: the nearest codes to compare with the label."""
    if found.visits:
        links = joined(
            Markup('<a class="tm-button" href="/audit/{}">{} of {}</a>').format(visit, at, len(found.visits))
            for at, visit in enumerate(found.visits, start=1)
        )
        head = Markup('<h1>{} visits have this code</h1><p class="tm-lead">Tablets of one letter drew it twice.</p>')
        return head.format(len(found.visits)) + Markup('<div class="tm-buttons">{}</div>').format(links)
    near = joined(
        Markup('<a class="tm-button tm-code" href="/audit?code={}">{}</a>').format(code, codeword(code))
        for code in found.near
    )
    nearest = Markup('<h2>Near it</h2><p class="tm-soft">Compare with the label, then choose.</p>{}').format(
        Markup('<div class="tm-buttons">{}</div>').format(near)
    )
    return Markup(
        '<h1>No box by that code</h1><p class="tm-lead">{}.</p>{}<form class="tm-search" action="/audit" method="get">'
        '<label class="tm-field">Box code<input name="code" value="{}" autocomplete="off" maxlength="120"></label>'
        '<button class="tm-button" type="submit">Find</button></form>'
    ).format(found.wrong[:1].upper() + found.wrong[1:], nearest if found.near else "", typed)
