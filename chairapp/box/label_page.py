"""One label on a page: its picture, the paper it goes on, and the ways to get it out."""

import asyncio
from datetime import UTC, datetime

from markupsafe import Markup
from nicegui import ui

from chairapp.box import draw
from chairapp.box.code import shown
from chairapp.box.controls import button, choices
from chairapp.box.desk import Box, Kind, file_of
from chairapp.box.label import Layout
from chairapp.box.paper_card import PaperCard
from chairapp.box.sheet import on_sheet
from chairapp.elements.frame import chip, html

__all__ = ["LabelCard"]

_FILES: tuple[tuple[str, Kind, int], ...] = (
    ("PDF", "pdf", 0),
    ("SVG", "svg", 0),
    ("PNG 203 dpi", "png", 203),
    ("PNG 300 dpi", "png", 300),
)


class LabelCard(PaperCard):
    """`_place` is the one on an A4 sheet, 0 for a label roll."""

    what = "label"
    recorded = "Recorded. Stick it on the box, not on the lid."

    def _build(self) -> None:
        self._place = 0
        self._label = self._desk.layout(self._box)
        drawn = Markup(draw.svg(self._label))  # noqa: S704 - every text in it was escaped where it was drawn
        with ui.element("div").classes("tm-two"):
            html(
                Markup(
                    '<div><div class="tm-preview">{}</div><p class="tm-soft tm-small tm-under">{}</p>{}</div>'
                ).format(drawn, _stock(self._label), _contents(self._box))
            )
            with ui.element("section").classes("tm-card"):
                self._state()
                self._why()
                self._actions()
        self._print_only()

    def _actions(self) -> None:
        button("Print", self._print, "tm-main-action tm-whole")
        self._tell()
        choices(
            f"paper-{self._box.line.visit}",
            "Paper",
            (("roll", "Label printer"), ("sheet", "A4 sheet")),
            self._choose_paper,
            "roll",
        )
        self._places()
        html(Markup('<p class="tm-soft tm-small">Or save it as a file:</p>'))
        with ui.element("div").classes("tm-pairs"):
            for name, kind, dpi in _FILES:
                button(name, lambda _, kind=kind, dpi=dpi: self._save(kind, dpi))

    @ui.refreshable_method
    def _places(self) -> None:
        """Which label of the sheet is the next free one."""
        if not self._place:
            return
        sheet = self._desk.sheet
        html(Markup('<p class="tm-soft tm-small" id="places">The first free label on the sheet:</p>'))
        with (
            ui.element("div")
            .classes("tm-sheet")
            .props("role=group aria-labelledby=places")
            .style(f"grid-template-columns: repeat({sheet.columns}, 1fr)")
        ):
            for place in range(1, sheet.places + 1):
                pressed = "true" if place == self._place else "false"
                button(str(place), lambda _, place=place: self._choose_place(place)).props(
                    f'aria-pressed={pressed} aria-label="Label {place}"'
                )

    @ui.refreshable_method
    def _print_only(self) -> None:
        """What the browser prints instead of the page, on paper of its own size."""
        layout = self._layout()
        html(
            Markup('<style>@page {{ size: {:g}mm {:g}mm; margin: 0 }}</style><div class="tm-print">{}</div>').format(
                layout.width,
                layout.height,
                Markup(draw.svg(layout)),  # noqa: S704 - every text in it was escaped where it was drawn
            )
        )

    def _layout(self) -> Layout:
        return on_sheet(self._label, self._desk.sheet, self._place) if self._place else self._label

    def _choose_paper(self, paper: str) -> None:
        self._choose_place(1 if paper == "sheet" else 0)

    def _choose_place(self, place: int) -> None:
        self._place = place
        self._places.refresh()
        self._print_only.refresh()

    async def _save(self, kind: Kind, dpi: int) -> None:
        if await self._record():
            name = f"label-{shown(self._box.record.code)}" + (f"-{dpi}dpi" if dpi else "")
            made = await asyncio.to_thread(file_of, self._layout(), kind, dpi, datetime.now(UTC))
            ui.download.content(made, f"{name}.{kind}")


def _stock(layout: Layout) -> str:
    return f"{layout.width:g} x {layout.height:g} mm. The line on it is 20 mm: check the first print with a ruler."


def _contents(box: Box) -> Markup:
    """What the assistant checks before the label goes on the box: the packing list and the disinfection."""
    record = box.record
    packed = Markup("").join(Markup("<li>{}</li>").format(item) for item in record.packed)
    listed = Markup('<ul class="tm-packed">{}</ul>').format(packed) if packed else chip("unsure", "Not recorded")
    disinfected = record.disinfected or chip("off", "Not recorded: treat as contaminated")
    return Markup(
        '<dl class="tm-facts"><div><dt>In the box</dt><dd>{}</dd></div><div><dt>Disinfected</dt><dd>{}</dd></div></dl>'
        '<p class="tm-under"><a class="tm-button" href="/B/{}/packing">Packing and disinfection</a></p>'
    ).format(listed, disinfected, record.code)
