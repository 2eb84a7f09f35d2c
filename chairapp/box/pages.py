"""The assistant's pages: the queue of boxes to label, where all boxes are, and the page a label leads to."""

import asyncio
from collections.abc import Callable
from typing import Protocol
from urllib.parse import quote

from fastapi.responses import RedirectResponse, Response
from markupsafe import Markup
from nicegui import ui
from nicegui.client import Client

from chairapp.box.box_page import BoxCard, two_boxes
from chairapp.box.code import plain, shown
from chairapp.box.controls import focus_scan_field, no_such_box, scan_field
from chairapp.box.desk import Box, Desk
from chairapp.box.errors import CodeError
from chairapp.box.label_page import LabelCard
from chairapp.box.outcome_page import OutcomeForm
from chairapp.box.packing_page import PackingForm
from chairapp.box.places_page import head, places
from chairapp.box.prescription_page import PrescriptionCard
from chairapp.box.record import BoxRecord
from chairapp.clinic import STAFF, ClinicDocument, local
from chairapp.elements.frame import Frame, Page, chip, html

__all__ = ["add_box_pages"]

_LOOK_AGAIN_S = 4.0
_HEAD = Markup('<h1>Label a box</h1><p class="tm-lead">Signed visits, those without a label first.</p>')
_GROUPS = (
    ("none", "To label", "Nothing waits for a label: every signed visit has one."),
    ("older", "The label is of an older record", ""),
    ("current", "Labelled", ""),
)


class Card(Protocol):
    """One box on a page of its own."""

    def build(self) -> None: ...


def add_box_pages(page: Page, frame: Callable[[], Frame], desk: Desk) -> None:
    """/label and /boxes, /B/CODE, and under it the papers of a box and the form of its try-in."""
    _add_lists(page, frame, desk)

    @page("/label/{code}", may=STAFF)
    async def label(code: str, client: Client) -> None:
        await _show(f"Label {code}", "/label", code, client, lambda box: LabelCard(desk, frame, box))

    @page("/B/{code}/outcome", may=STAFF)
    async def outcome(code: str, client: Client) -> None:
        await _show(f"Try-in {code}", "/boxes", code, client, lambda box: OutcomeForm(desk, frame, box))

    @page("/B/{code}/packing", may=STAFF)
    async def packing(code: str, client: Client) -> None:
        await _show(f"Packing {code}", "/label", code, client, lambda box: PackingForm(desk, frame, box))

    @page("/B/{code}/prescription", may=STAFF)
    async def prescription(code: str, client: Client) -> None:
        await _show(f"Prescription {code}", "/label", code, client, lambda box: PrescriptionCard(desk, frame, box))

    for path in ("/B/{code}", "/b/{code}"):

        @page(path, may=STAFF)
        async def box(code: str, client: Client) -> None:
            await _show(f"Box {code}", "/boxes", code, client, lambda box: BoxCard(desk, frame, box), "Another box")

    async def _show(
        title: str, room: str, code: str, client: Client, card: Callable[[Box], Card], further: str = ""
    ) -> None:
        """The card of every box with this code, nearly always one; `further` heads a field for the next code."""
        try:
            found: list[Box] | CodeError = await asyncio.to_thread(desk.find, code)
        except CodeError as error:
            client.status_code, found = 404, error
        with frame().page(title, room):
            if isinstance(found, CodeError):
                html(no_such_box(found, "/label" if room == "/label" else "/B", room))
            else:
                html(two_boxes(len(found)))
                for box in found:
                    with ui.element("section").classes("tm-of-code").props(f'data-visit="{box.line.visit}"'):
                        card(box).build()
                html(Markup("<h2>{}</h2>{}").format(further, scan_field(room)) if further else Markup(""))
        if further or isinstance(found, CodeError):
            focus_scan_field()


def _add_lists(page: Page, frame: Callable[[], Frame], desk: Desk) -> None:
    @page("/label", may=STAFF)
    async def queue(code: str = "") -> Response | None:
        if code.strip():
            return RedirectResponse(_page_of("/label", code), 303)
        shown = await asyncio.to_thread(_queue, desk)
        with frame().page("Label a box", "/label"):
            html(_HEAD + scan_field("/label"))
            _kept_fresh(shown, lambda: _queue(desk))
        focus_scan_field()
        return None

    @page("/boxes", may=STAFF)
    async def boxes(code: str = "") -> Response | None:
        if code.strip():
            return RedirectResponse(_page_of("/B", code), 303)
        shown = await asyncio.to_thread(places, desk)
        with frame().page("Where the boxes are", "/boxes"):
            html(head())
            _kept_fresh(shown, lambda: places(desk))
        focus_scan_field()
        return None


def _page_of(room: str, typed: str) -> str:
    """The page of a code as it was typed or scanned; one that is none is told so there."""
    return f"{room}/{quote(plain(typed).replace('/', ' '))}"


def _kept_fresh(shown: Markup, make: Callable[[], Markup]) -> None:
    """What happened meanwhile shows up by itself; what is being typed stays."""
    part = html(shown)

    async def again() -> None:
        fresh = await asyncio.to_thread(make)
        if fresh != part.content:
            part.set_content(fresh)

    ui.timer(_LOOK_AGAIN_S, again, immediate=False)


# ---- the queue


def _queue(desk: Desk) -> Markup:
    boxes, clinic = desk.queue(), desk.clinic()
    return Markup("").join(_group(boxes, clinic, *group) for group in _GROUPS)


def _group(boxes: list[Box], clinic: ClinicDocument, on: str, title: str, empty: str) -> Markup:
    rows = [_row(box, clinic) for box in boxes if box.record.on == on]
    if not rows:
        return Markup('<h2>{}</h2><p class="tm-empty">{}</p>').format(title, empty) if empty else Markup("")
    return Markup('<h2>{}</h2><ul class="tm-list">{}</ul>').format(title, Markup("").join(rows))


def _row(box: Box, clinic: ClinicDocument) -> Markup:
    record, line = box.record, box.line
    when = local(line.opened, clinic).strftime("%d %b %Y, %H:%M")
    packed = ", ".join(record.packed) if record.packed else "Packing list not recorded"
    return Markup(
        '<li><a class="tm-row" href="/label/{}"><span class="tm-code">{}</span>'
        '<div><p>{}</p><p class="tm-soft tm-small">{} · chair {} · {}</p></div>{}</a></li>'
    ).format(line.code, shown(line.code), packed, when, record.chair, clinic.name_of(line.author), _state(record))


def _state(record: BoxRecord) -> Markup:
    if record.signature is None:
        return chip("open", "not signed")
    if not record.signature["valid"]:
        return chip("off", "changed after signing")
    if not record.signed:
        return chip("open", "second signature missing")
    if record.on == "older":
        return chip("stale", "print again")
    if record.on == "current":
        return chip("fits", "labelled")
    return chip("open", "no label yet") if record.disinfected else chip("unsure", "disinfection not recorded")
