"""/audit/retention: visits older than the clinic keeps them, and how a manager erases one."""

import asyncio
from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response
from markupsafe import Markup
from nicegui.client import Client

from chairapp.audit.page_parts import audit_page, codeword, joined, table, when, when_ms
from chairapp.clinic import MANAGER, Person
from chairapp.elements.frame import Frame, Page, html
from chairapp.people.doors import Doors
from chairapp.people.form import Form, page_of, see, typed_in
from chairapp.running.retention import SHOWN, Old, Retention

__all__ = ["add_retention", "retention_routes"]

HERE = "/audit/retention"
Note = Callable[[str, str, str, str], None]
"""Keeps in the access log who (id, role) did what to which visit."""


def add_retention(page: Page, frame: Callable[[], Frame], retention: Retention) -> None:
    """To be added before a page that takes any /audit/NAME."""

    @page(HERE, may=MANAGER)
    async def old() -> None:
        found = await asyncio.to_thread(retention.old)
        with audit_page(frame, "Retention", HERE):
            html(_list(retention, found))

    @page(HERE + "/{visit}", may=MANAGER)
    async def one(visit: str, client: Client) -> None:
        found = await asyncio.to_thread(retention.one, visit)
        with audit_page(frame, "Erase a visit", HERE):
            if found is None:
                client.status_code = 404
            html(_ask(retention, found, Form()) if found else _NONE)


def retention_routes(doors: Doors, retention: Retention, note: Note) -> APIRouter:
    router = APIRouter(include_in_schema=False)

    @router.post(HERE + "/{visit}")
    async def erase(visit: str, request: Request, person: Annotated[Person, Depends(doors.door(MANAGER))]) -> Response:
        form = Form(await typed_in(request))
        found = await run_in_threadpool(retention.one, visit)
        if found is None:
            return page_of(request, doors.frame, "Erase a visit", "/audit", _NONE, 404)
        reason = form.typed.get("reason", "")
        if not reason:
            form.faults["reason"] = "Why: missing. Write why its values have to go."
            return page_of(request, doors.frame, "Erase a visit", "/audit", _ask(retention, found, form))
        # Noted first: what cannot be noted is not done.
        await run_in_threadpool(note, person.id, person.role, "erased the values of a visit", visit)
        await run_in_threadpool(retention.erase, visit, reason, person.id)
        return see(HERE)

    return router


def _list(retention: Retention, found: list[Old]) -> Markup:
    head = Markup(
        '<h1>Retention</h1><p class="tm-lead">{}</p><p class="tm-about">How long a record has to be kept, and when it '
        "has to go, is for the law of this place. Nothing is erased by itself.</p>"
    )
    if retention.days is None:
        told = "Nobody has said how long visits are kept: start the clinic server with --retention-days."
        return head.format(told)
    days = "a day" if retention.days == 1 else f"{retention.days:,} days"
    told = f"Visits without a new entry for {days}. Each is erased by a manager, or kept."
    if not found:
        return head.format(told) + Markup('<p class="tm-empty">None is that old.</p>')
    clinic = retention.clinic()
    heads = ("Box", "Last entry came", "Values", "")
    rows = [(_code(retention, old), when_ms(old.last, clinic), old.values, _way(old)) for old in found]
    more = Markup("<p>The oldest {}; there may be more.</p>").format(SHOWN) if len(found) == SHOWN else Markup("")
    return joined([head.format(told), table(heads, rows, figures=(2,), caption="Visits past their retention"), more])


def _code(retention: Retention, old: Old) -> str:
    line = retention.line(old.visit)
    return codeword(line.code if line else "")


def _way(old: Old) -> Markup:
    return Markup('<a href="/audit/{0}">Look</a> · <a href="{1}/{0}">Erase</a>').format(old.visit, HERE)


def _ask(retention: Retention, old: Old, form: Form) -> Markup:
    line, clinic = retention.line(old.visit), retention.clinic()
    opened = f"Opened {when(line.opened, clinic)}. " if line else ""
    values = "1 value is" if old.values == 1 else f"{old.values:,} values are"
    return Markup(
        '<h1>Erase the visit of box {}</h1><p class="tm-lead">{}The last entry came {}. {} in it.</p>{}'
        '<div class="tm-note tm-unsure"><h3>This cannot be taken back</h3><p>What was entered is erased here, at every '
        "chair node and on every tablet. Who entered something and when stays, and so do the signatures, which can no "
        'longer be recomputed. Backups taken before still hold it. If somebody may ask for the record, <a href="'
        '/audit/export">export it</a> first.</p></div>'
        '<form class="tm-form tm-asked" method="post" action="{}/{}"><section class="tm-card">{}</section>'
        '<div class="tm-buttons"><button type="submit" class="tm-button tm-main-action">Erase its values</button>'
        '<a class="tm-button" href="{}">Keep it</a></div></form>'
    ).format(
        _code(retention, old),
        opened,
        when_ms(old.last, clinic),
        values,
        form.top(),
        HERE,
        old.visit,
        form.text("reason", "Why", "It stays in the record for good."),
        HERE,
    )


_NONE = Markup(
    '<h1>Nothing to erase</h1><p class="tm-lead">There is no visit by that id that is older than visits are kept here '
    'and still has values.</p><p><a class="tm-button" href="{}">Retention</a></p>'
).format(HERE)
