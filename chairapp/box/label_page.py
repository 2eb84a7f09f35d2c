"""One label on a page: its picture, who prints it, and the ways to get it out."""

import asyncio
from datetime import UTC, datetime

from markupsafe import Markup
from nicegui import ui
from nicegui.events import GenericEventArguments

from chairapp.box import draw
from chairapp.box.code import shown
from chairapp.box.desk import Box, Desk, Kind, file_of
from chairapp.box.errors import BoxError
from chairapp.box.label import Layout
from chairapp.clinic import local
from chairapp.elements.frame import chip, html

__all__ = ["LabelCard"]

_PACKERS = ("assistant", "clinician", "supervised", "manager")
_FILES: tuple[tuple[str, Kind, int], ...] = (
    ("PDF", "pdf", 0),
    ("SVG", "svg", 0),
    ("PNG 203 dpi", "png", 203),
    ("PNG 300 dpi", "png", 300),
)


class LabelCard:
    """Built once for a page; lives as long as the page does."""

    def __init__(self, desk: Desk, box: Box) -> None:
        self._desk = desk
        self._box = box
        self._author = ""
        self._reason = ""

    def build(self) -> None:
        record = self._box.record
        html(
            Markup('<p class="tm-soft">Label of box</p><h1 class="tm-code"><a href="/B/{}">{}</a></h1>').format(
                record.code, shown(record.code)
            )
        )
        try:
            layout = self._desk.layout(self._box)
        except BoxError as error:
            html(_refused(str(error), record.code))
            return
        drawn = Markup(draw.svg(layout))  # noqa: S704 - every text in it was escaped where it was drawn
        with ui.element("div").classes("tm-two"):
            html(
                Markup('<div><div class="tm-preview">{}</div><p class="tm-soft tm-small tm-under">{}</p></div>').format(
                    drawn, _stock(layout)
                )
            )
            with ui.element("section").classes("tm-card"):
                self._state()
                self._who()
                self._why()
                self._actions(layout)
        html(drawn).classes("tm-print")
        ui.add_css(f"@page {{ size: {layout.width:g}mm {layout.height:g}mm; margin: 0 }}")

    @ui.refreshable_method
    def _state(self) -> None:
        record, clinic = self._box.record, self._desk.clinic()
        if not record.prints:
            html(Markup("<p>{}</p>").format(chip("open", "no label printed yet")))
            return
        last = record.prints[-1]
        when = local(last["at"], clinic).strftime("%d %b %Y, %H:%M")
        mark = (
            chip("fits", "label is up to date")
            if record.on == "current"
            else chip("stale", "label is of an older record")
        )
        html(
            Markup('<p>{}</p><p class="tm-soft tm-small">Last printed {} by {}.</p>').format(
                mark, when, clinic.name_of(last["author"])
            )
        )

    @ui.refreshable_method
    def _who(self) -> None:
        staff = sorted(self._desk.clinic().staff, key=lambda person: _PACKERS.index(person.role))
        html(Markup('<h3 id="who">Who prints it?</h3>'))
        with (
            ui.element("div")
            .classes("tm-pairs")
            .props("role=group aria-labelledby=who")
            .style("margin:.6rem 0 1.25rem")
        ):
            for person in staff:
                pressed = "true" if person.id == self._author else "false"
                button = ui.element("button").classes("tm-button").props(f"type=button aria-pressed={pressed}")
                button.on("click", lambda _, id=person.id: self._choose(id))
                with button:
                    html(Markup("{}").format(person.name))

    @ui.refreshable_method
    def _why(self) -> None:
        """Asked of every label but the first."""
        if not self._box.record.prints:
            return
        with ui.element("label").classes("tm-field").style("margin-bottom:1.25rem"):
            html(Markup("Why again?"))
            box = ui.element("input").props('maxlength=120 placeholder="smudged, lost, repacked ..."')
            box.on("input", self._because, js_handler="(event) => emit(event.target.value)")

    def _actions(self, layout: Layout) -> None:
        with _button("Print", "tm-main-action").style("width:100%") as button:
            button.on("click", self._print)
        self._told = html(Markup('<p class="tm-status" role="status"></p>'))
        html(Markup('<p class="tm-soft tm-small" style="margin:0 0 .5rem">Or save it for a label printer:</p>'))
        with ui.element("div").classes("tm-pairs"):
            for name, kind, dpi in _FILES:
                with _button(name) as button:
                    button.on("click", lambda _, kind=kind, dpi=dpi: self._save(layout, kind, dpi))

    def _choose(self, author: str) -> None:
        self._author = author
        self._who.refresh()

    def _because(self, event: GenericEventArguments) -> None:
        self._reason = str(event.args)[:120].strip()

    async def _print(self) -> None:
        if await self._record():
            ui.run_javascript("window.print()")

    async def _save(self, layout: Layout, kind: Kind, dpi: int) -> None:
        if await self._record():
            name = f"label-{shown(self._box.record.code)}" + (f"-{dpi}dpi" if dpi else "")
            made = await asyncio.to_thread(file_of, layout, kind, dpi, datetime.now(UTC))
            ui.download.content(made, f"{name}.{kind}")

    async def _record(self) -> bool:
        """Keep that a label was made, before it is made. False, and said, when something is missing."""
        if not self._author:
            return self._tell("off", "Say who prints it first: tap a name.")
        if self._box.record.prints and not self._reason:
            return self._tell("off", "Say why it is printed again.")
        await asyncio.to_thread(self._desk.printed, self._box, self._author, self._reason or None)
        (self._box,) = [
            box
            for box in await asyncio.to_thread(self._desk.find, self._box.record.code)
            if box.line.visit == self._box.line.visit
        ]
        self._reason = ""
        self._state.refresh()
        self._why.refresh()
        self._tell("fits", "Recorded. Stick it on the box, not on the lid.")
        return True

    def _tell(self, kind: str, sentence: str) -> bool:
        self._told.set_content(Markup('<p class="tm-status" role="status">{}</p>').format(chip(kind, sentence)))
        return False


def _button(name: str, kind: str = "") -> ui.element:
    button = ui.element("button").classes(f"tm-button {kind}").props("type=button")
    with button:
        html(Markup("{}").format(name))
    return button


def _stock(layout: Layout) -> str:
    return f"{layout.width:g} x {layout.height:g} mm. The line on it is 20 mm: check the first print with a ruler."


def _refused(sentence: str, code: str) -> Markup:
    return Markup(
        '<div class="tm-note tm-off"><h3>No label can be made</h3><p>{}.</p></div>'
        '<div class="tm-buttons"><a class="tm-button" href="/B/{}">Look at the box</a></div>'
    ).format(sentence[:1].upper() + sentence[1:], code)
