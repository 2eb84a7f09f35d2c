"""The assistant's pages: the queue of boxes to label, and the box page a label leads to."""

import asyncio
from collections.abc import Callable

from fastapi.responses import RedirectResponse, Response
from markupsafe import Markup
from nicegui import ui
from nicegui.client import Client

from chairapp.box.code import shown
from chairapp.box.desk import Box, Desk
from chairapp.box.errors import CodeError
from chairapp.box.label_page import LabelCard
from chairapp.box.record import BoxRecord
from chairapp.clinic import STAFF, ClinicDocument, local
from chairapp.elements.frame import Frame, Page, chip, html
from chairapp.elements.verdicts import tally

__all__ = ["add_box_pages"]


_LOOK_AGAIN_S = 4.0
_HEAD = Markup('<h1>Label a box</h1><p class="tm-lead">Signed visits, those without a label first.</p>')
_GROUPS = (
    ("none", "To label", "Nothing waits for a label: every signed visit has one."),
    ("older", "The label is of an older record", ""),
    ("current", "Labelled", ""),
)


def add_box_pages(page: Page, frame: Callable[[], Frame], desk: Desk) -> None:
    """/label, /label/CODE and /B/CODE."""

    @page("/label", may=STAFF)
    async def queue(code: str = "") -> Response | None:
        if code.strip():
            return RedirectResponse(f"/label/{code.strip().replace('/', ' ')}", 303)
        shown = await asyncio.to_thread(_queue, desk)
        with frame().page("Label a box", "/label"):
            html(_HEAD + _search())
            queued = html(shown)

        async def again() -> None:
            """Visits signed meanwhile show up by themselves; what is being typed stays."""
            fresh = await asyncio.to_thread(_queue, desk)
            if fresh != queued.content:
                queued.set_content(fresh)

        ui.timer(_LOOK_AGAIN_S, again, immediate=False)
        return None

    @page("/label/{code}", may=STAFF)
    async def label(code: str, client: Client) -> None:
        found = await _found(desk, code, client)
        with frame().page(f"Label {code}", "/label"):
            if isinstance(found, CodeError):
                html(_slip(found, "/label"))
            else:
                for box in found:
                    LabelCard(desk, box).build()

    for path in ("/B/{code}", "/b/{code}"):

        @page(path, may=STAFF)
        async def box(code: str, client: Client) -> None:
            found = await _found(desk, code, client)
            with frame().page(f"Box {code}"):
                html(_slip(found, "/B") if isinstance(found, CodeError) else _boxes(found, desk.clinic()))


async def _found(desk: Desk, code: str, client: Client) -> list[Box] | CodeError:
    try:
        return await asyncio.to_thread(desk.find, code)
    except CodeError as error:
        client.status_code = 404
        return error


# ---- the queue


def _queue(desk: Desk) -> Markup:
    boxes, clinic = desk.queue(), desk.clinic()
    return Markup("").join(_group(boxes, clinic, *group) for group in _GROUPS)


def _search() -> Markup:
    return Markup(
        '<form class="tm-search" action="/label" method="get" role="search"><label class="tm-field">Box code'
        '<input name="code" autocomplete="off" autocapitalize="characters" spellcheck="false" maxlength="20"></label>'
        '<button class="tm-button" type="submit">Find</button></form>'
    )


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
    if not record.signed:
        return chip("off", "changed after signing")
    if record.on == "older":
        return chip("stale", "print again")
    if record.on == "current":
        return chip("fits", "labelled")
    return chip("open", "no label yet") if record.disinfected else chip("unsure", "disinfection not recorded")


# ---- the box page


def _boxes(boxes: list[Box], clinic: ClinicDocument) -> Markup:
    both = Markup("")
    if len(boxes) > 1:
        both = Markup(
            '<div class="tm-note tm-unsure"><h3>{} visits have this code</h3><p>Two tablets drew the same one. '
            "Compare date and chair with the label before you open the box.</p></div>"
        ).format(len(boxes))
    return both + Markup("").join(_box(box, clinic) for box in boxes)


def _box(box: Box, clinic: ClinicDocument) -> Markup:
    record = box.record
    return Markup(
        '<article><p class="tm-soft">Case box</p><h1 class="tm-code tm-apart">{}</h1>{}{}<section class="tm-card"><h2 '
        'style="margin-top:0">In the box</h2>{}<dl class="tm-facts">{}</dl></section><h2>The record</h2>{}'
        "{}"
        "</article>"
    ).format(
        shown(record.code),
        _signature_note(box, clinic),
        _label_note(box, clinic),
        _packed(record.packed),
        _facts(box, clinic),
        tally(box.view["verdict"], box.words),
        _way_to_the_label(record),
    )


def _way_to_the_label(record: BoxRecord) -> Markup:
    """Large where it is the next thing to do."""
    if record.signature is None:
        return Markup("")
    wanted = record.signed and record.on != "current"
    kind, word = (" tm-main-action", "Print its label") if wanted else ("", "Look at its label")
    return Markup('<p style="margin-top:1.75rem"><a class="tm-button{}" href="/label/{}">{}</a></p>').format(
        kind, record.code, word
    )


def _signature_note(box: Box, clinic: ClinicDocument) -> Markup:
    record = box.record
    if record.signature is None:
        return _note(
            "open",
            "Not signed yet",
            "The visit is still being worked on; nothing leaves the clinic before it is signed.",
        )
    name, when = clinic.name_of(record.signature["author"]), _when(record.signature["at"], clinic)
    if record.signed:
        return _note("fits", "Signed", f"by {name}, {when}. Record {record.signature['digest'][:8]}.")
    return _note(
        "off", "Changed after signing", f"{name} signed {when}; an entry arrived that this signature does not cover."
    )


def _label_note(box: Box, clinic: ClinicDocument) -> Markup:
    record = box.record
    if record.on == "older":
        made = _when(record.prints[-1]["at"], clinic)
        return _note(
            "unsure",
            "The label is of an older record",
            f"It was made {made}; the record has changed since. Print it again.",
        )
    if record.on == "none" and record.signature is not None:
        return _note("open", "No label yet", "No label has been printed for this box.")
    return Markup("")


def _note(kind: str, title: str, text: str) -> Markup:
    return Markup('<div class="tm-note tm-{}"><h3>{}</h3><p>{}</p></div>').format(kind, title, text)


def _packed(packed: tuple[str, ...]) -> Markup:
    if not packed:
        return Markup('<p class="tm-soft">The packing list is not recorded.</p>')
    return Markup('<p style="font-size:1.1875rem">{}</p>').format(", ".join(packed))


def _facts(box: Box, clinic: ClinicDocument) -> Markup:
    record = box.record
    if record.disinfected:
        by = clinic.name_of(record.disinfected_by or "")
        disinfected = Markup("{}<br><span class='tm-soft tm-small'>{}, {}</span>").format(
            record.disinfected, by, _when(record.disinfected_at or "", clinic)
        )
    else:
        disinfected = chip("off", "Not recorded: treat as contaminated")
    facts = (
        ("Chair", record.chair),
        ("Visit", _when(record.opened, clinic)),
        ("Clinician", clinic.name_of(box.line.author)),
    )
    first = Markup('<div class="tm-wide"><dt>Disinfected</dt><dd>{}</dd></div>').format(disinfected)
    return first + Markup("").join(Markup("<div><dt>{}</dt><dd>{}</dd></div>").format(*fact) for fact in facts)


def _when(at: str, clinic: ClinicDocument) -> str:
    return local(at, clinic).strftime("%d %b %Y, %H:%M")


# ---- a code with a slip


def _slip(error: CodeError, room: str) -> Markup:
    sentence = str(error).partition("; did you mean")[0]
    links = Markup("").join(
        Markup('<a class="tm-button tm-code" href="{}/{}">{}</a>').format(room, code, shown(code))
        for code in error.suggestions
    )
    nearest = Markup('<h2>Near it</h2><p class="tm-soft">Compare with the label, then choose.</p>{}').format(
        Markup('<div class="tm-buttons">{}</div>').format(links)
    )
    return Markup('<h1>No box by that code</h1><p class="tm-lead">{}.</p>{}{}').format(
        sentence[:1].upper() + sentence[1:], nearest if error.suggestions else "", _search()
    )
