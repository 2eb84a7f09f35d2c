"""The prescription on a page: its sheets to look at, the day the work is wanted, and the ways to get it out."""

import asyncio
from base64 import b64encode

from markupsafe import Markup
from nicegui import ui
from nicegui.events import GenericEventArguments

from chairapp.box.code import shown
from chairapp.box.controls import button, choices, keep_typed, who
from chairapp.box.errors import BoxError
from chairapp.box.paper_card import PaperCard
from chairapp.box.prescription import Paper, pdf, pictures
from chairapp.elements.frame import html

__all__ = ["PrescriptionCard"]

_PAPERS: tuple[tuple[Paper, str], ...] = (("a4", "A4"), ("letter", "Letter"))
_SIZES = {"a4": "210mm 297mm", "letter": "8.5in 11in"}


class PrescriptionCard(PaperCard):
    what = "prescription"
    recorded = "Recorded. Put it in the box."

    def _build(self) -> None:
        self._paper: Paper = self._desk.paper
        self._made_of = self._desk.prescription(self._box)
        with ui.element("div").classes("tm-two"):
            with ui.element("div"):
                self._sheets()
            with ui.element("section").classes("tm-card"):
                self._state()
                self._wanted()
                self._why()
                button("Print", self._print, "tm-main-action tm-whole")
                self._tell()
                choices(f"paper-{self._box.line.visit}", "Paper", _PAPERS, self._choose_paper, self._paper)
                button("Save as PDF", self._save, "tm-whole")

    @ui.refreshable_method
    def _sheets(self) -> None:
        """Looked at on the screen, and what the browser prints instead of the page."""
        html(
            Markup(
                '<style>@page {{ size: {}; margin: 0 }}</style><div class="tm-preview tm-pages tm-print">{}</div>'
            ).format(_SIZES[self._paper], self._pages())
        )

    def _pages(self) -> Markup:
        drawn = pictures(self._made_of, self._paper)
        return Markup("").join(
            Markup(
                '<img src="data:image/svg+xml;base64,{}" alt="Prescription, page {} of {}: save the PDF to read it">'
            ).format(b64encode(page).decode(), number, len(drawn))
            for number, page in enumerate(drawn, 1)
        )

    def _wanted(self) -> None:
        with ui.element("label").classes("tm-field tm-apart"):
            html(Markup("Wanted back by"))
            day = ui.element("input").props("type=date")
            keep_typed(day, self._box.record.wanted or "")
            day.on("change", self._want, js_handler="(event) => emit(event.target.value)")

    async def _want(self, event: GenericEventArguments) -> None:
        try:
            await asyncio.to_thread(self._desk.want, self._box, str(event.args), who(self._frame()))
        except BoxError as error:
            self._told("off", f"{error}.")
            return
        self._box = await asyncio.to_thread(self._desk.again, self._box)
        self._made_of = self._desk.prescription(self._box)
        self._sheets.refresh()
        self._told(
            "fits", f"Kept: wanted by {self._box.record.wanted}." if self._box.record.wanted else "Kept: no day."
        )

    def _choose_paper(self, paper: Paper) -> None:
        self._paper = paper
        self._sheets.refresh()

    async def _save(self) -> None:
        if await self._record():
            made = await asyncio.to_thread(pdf, self._made_of, self._paper)
            ui.download.content(made, f"prescription-{shown(self._box.record.code)}.pdf")
