"""What the pages of a label and of a prescription share: was it made already, why again, and keeping that it was."""

import asyncio
from collections.abc import Callable
from typing import Any

from markupsafe import Markup
from nicegui import ui
from nicegui.events import GenericEventArguments

from chairapp.box.code import shown
from chairapp.box.controls import Told, note, when, who
from chairapp.box.desk import Box, Desk
from chairapp.box.errors import BoxError
from chairapp.box.record import On, What
from chairapp.elements.frame import Frame, chip, html

__all__ = ["PaperCard"]


# Where two boxes have one code, both papers are on the page and one is meant.
_PRINT_ONE = """
for (const one of document.querySelectorAll(".tm-of-code"))
    one.classList.toggle("tm-unprinted", one.dataset.visit !== "VISIT");
window.print();
"""


class PaperCard:
    """Built once for a page; lives as long as the page does."""

    what: What
    recorded: str
    """What is said after one was made."""

    def __init__(self, desk: Desk, frame: Callable[[], Frame], box: Box) -> None:
        self._desk = desk
        self._frame = frame
        self._box = box
        self._reason = ""

    def build(self) -> None:
        code = self._box.record.code
        html(
            Markup('<p class="tm-soft">{} of box</p><h1 class="tm-code"><a href="/B/{}">{}</a></h1>').format(
                self.what.capitalize(), code, shown(code)
            )
        )
        try:
            self._build()
        except BoxError as error:
            html(_refused(self.what, str(error), code))

    def _build(self) -> None:
        """Raises BoxError where none can be made."""
        raise NotImplementedError

    def _made(self) -> tuple[tuple[dict[str, Any], ...], On]:
        record = self._box.record
        return (record.prints, record.on) if self.what == "label" else (record.prescribed, record.prescription)

    @ui.refreshable_method
    def _state(self) -> None:
        (made, on), clinic = self._made(), self._desk.clinic()
        if not made:
            html(Markup("<p>{}</p>").format(chip("open", f"no {self.what} printed yet")))
            return
        up_to_date = chip("fits", f"{self.what} is up to date")
        mark = up_to_date if on == "current" else chip("stale", f"{self.what} is of an older record")
        html(
            Markup('<p>{}</p><p class="tm-soft tm-small">Last printed {} by {}.</p>').format(
                mark, when(made[-1]["at"], clinic), clinic.name_of(made[-1]["author"])
            )
        )

    @ui.refreshable_method
    def _why(self) -> None:
        """Asked of every one but the first."""
        if not self._made()[0]:
            return
        with ui.element("label").classes("tm-field tm-apart"):
            html(Markup("Why again?"))
            box = ui.element("input").props('maxlength=120 placeholder="smudged, lost, repacked ..."')
            box.on("input", self._because, js_handler="(event) => emit(event.target.value)")

    def _because(self, event: GenericEventArguments) -> None:
        self._reason = str(event.args)[:120].strip()

    def _tell(self) -> None:
        self._told = Told()

    async def _print(self) -> None:
        if await self._record():
            ui.run_javascript(_PRINT_ONE.replace("VISIT", self._box.line.visit))

    async def _record(self) -> bool:
        """Keep that one was made, before it is made. False, and said, when something is missing."""
        if self._made()[0] and not self._reason:
            self._told("off", "Say why it is printed again.")
            return False
        try:
            author = who(self._frame())
            await asyncio.to_thread(self._desk.printed, self._box, author, self._reason or None, self.what)
        except BoxError as error:
            self._told("off", f"{error}.")
            return False
        self._box = await asyncio.to_thread(self._desk.again, self._box)
        self._reason = ""
        self._state.refresh()
        self._why.refresh()
        self._told("fits", self.recorded)
        return True


def _refused(what: str, sentence: str, code: str) -> Markup:
    way = Markup('<div class="tm-buttons"><a class="tm-button" href="/B/{}">Look at the box</a></div>').format(code)
    return note("off", f"No {what} can be made", f"{sentence[:1].upper()}{sentence[1:]}.") + way
