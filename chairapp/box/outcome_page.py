"""The form of the try-in: five things right or to be corrected, the record to be repeated or not, why in a word."""

import asyncio
from collections.abc import Callable
from functools import partial

from markupsafe import Markup
from nicegui import ui
from nicegui.events import GenericEventArguments

from chairapp.box.code import shown
from chairapp.box.controls import Told, button, choices, who
from chairapp.box.desk import Box, Desk
from chairapp.box.errors import BoxError
from chairapp.box.outcome import TRIED_WORDS, WHY_MAX, Outcome
from chairapp.elements.frame import Frame, html

__all__ = ["OutcomeForm"]

_FOUND = (("right", "Right"), ("correct", "To be corrected"))
_REPEAT = ((False, "Record stands"), (True, "Repeat the record"))


class OutcomeForm:
    def __init__(self, desk: Desk, frame: Callable[[], Frame], box: Box) -> None:
        self._desk = desk
        self._frame = frame
        self._box = box
        self._given = Outcome()

    def build(self) -> None:
        code = self._box.record.code
        html(
            Markup(
                '<p class="tm-soft">Try-in of box <a class="tm-code" href="/B/{}">{}</a></p>'
                "<h1>What did the try-in show?</h1>"
            ).format(code, shown(code))
        )
        with ui.element("section").classes("tm-card tm-form"):
            self._asked()
            with ui.element("label").classes("tm-field"):
                html(Markup("Why, in a word"))
                box = ui.element("input").props(
                    f'maxlength={WHY_MAX} placeholder="marks worn, lip fuller than wished ..."'
                )
                box.on("input", self._because, js_handler="(event) => emit(event.target.value)")
            self._told = Told()
            button("Keep it", self._keep, "tm-main-action")

    def _asked(self) -> None:
        visit = self._box.line.visit
        for name, word in TRIED_WORDS.items():
            choices(f"{name}-{visit}", word, _FOUND, partial(self._found, name))
        choices(f"repeat-{visit}", "Jaw relation record", _REPEAT, self._repeat)

    def _found(self, name: str, value: str) -> None:
        self._given.found[name] = value

    def _repeat(self, value: bool) -> None:
        self._given.repeat = value

    def _because(self, event: GenericEventArguments) -> None:
        self._given.why = str(event.args)

    async def _keep(self) -> None:
        try:
            await asyncio.to_thread(self._desk.note_outcome, self._box, self._given, who(self._frame()))
        except BoxError as error:
            self._told("off", f"{error}.")
            return
        ui.navigate.to(f"/B/{self._box.record.code}")
