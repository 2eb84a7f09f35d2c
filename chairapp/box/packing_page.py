"""What goes into the box, and how it was disinfected: the assistant's form of the last step of a visit."""

import asyncio
from collections.abc import Callable
from functools import partial
from typing import Any

from markupsafe import Markup
from nicegui import ui
from nicegui.events import GenericEventArguments

from chairapp.box.code import shown
from chairapp.box.controls import Told, button, choices, keep_typed, who
from chairapp.box.desk import Box, Desk
from chairapp.box.errors import BoxError
from chairapp.elements.frame import Frame, html

__all__ = ["PackingForm"]


class PackingForm:
    """Filled in with what is recorded so far; only what was changed becomes entries."""

    def __init__(self, desk: Desk, frame: Callable[[], Frame], box: Box) -> None:
        self._desk = desk
        self._frame = frame
        self._box = box
        self._given = desk.packing(box)

    def build(self) -> None:
        code = self._box.record.code
        html(
            Markup('<p class="tm-soft">Packing of box <a class="tm-code" href="/B/{}">{}</a></p><h1>{}</h1>').format(
                code, shown(code), self._box.words("item.packing.items.question")
            )
        )
        with ui.element("section").classes("tm-card tm-form"):
            self._items()
            agents = tuple((agent, self._word("packing.agent", agent)) for agent in self._choices("packing.agent"))
            name = f"agent-{self._box.line.visit}"
            given = self._given["packing.agent"]
            choices(
                name, self._box.words("item.packing.agent.label"), agents, partial(self._keep, "packing.agent"), given
            )
            self._typed("packing.minutes", "inputmode=decimal maxlength=10")
            self._typed("packing.note", "maxlength=400")
            self._told = Told()
            button("Keep it", self._save, "tm-main-action")

    def _items(self) -> None:
        with ui.element("fieldset").classes("tm-question"):
            with ui.element("legend"):
                html(Markup("{}").format(self._box.words("item.packing.items.label")))
            with ui.element("div").classes("tm-pairs"):
                for item in self._choices("packing.items"):
                    with ui.element("label").classes("tm-button tm-choice"):
                        checked = "checked" if item in self._given["packing.items"] else ""
                        box = ui.element("input").props(f"type=checkbox {checked}")
                        box.on("change", partial(self._pack, item), js_handler="(event) => emit(event.target.checked)")
                        html(Markup("<span>{}</span>").format(self._word("packing.items", item)))

    def _typed(self, item: str, props: str) -> None:
        value = self._given[item]
        with ui.element("label").classes("tm-field tm-apart"):
            html(Markup("{}").format(self._box.words(f"item.{item}.label")))
            field = ui.element("input").props(props)
            keep_typed(field, f"{value:g}" if isinstance(value, float | int) else value or "")
            field.on("input", partial(self._type, item), js_handler="(event) => emit(event.target.value)")

    def _choices(self, item: str) -> list[str]:
        step = next(step for step in self._box.sequence["steps"] if step["id"] == "packing")
        return [choice for one in step["items"] if one["id"] == item for choice in one["choices"]]

    def _word(self, item: str, value: str) -> str:
        return self._box.words(f"choice.{item}.{value}")

    def _keep(self, item: str, value: Any) -> None:
        self._given[item] = value

    def _type(self, item: str, event: GenericEventArguments) -> None:
        self._given[item] = str(event.args)

    def _pack(self, item: str, event: GenericEventArguments) -> None:
        packed = set(self._given["packing.items"]) | {item}
        if not event.args:
            packed.discard(item)
        self._given["packing.items"] = [one for one in self._choices("packing.items") if one in packed]

    async def _save(self) -> None:
        try:
            await asyncio.to_thread(self._desk.pack, self._box, self._given, who(self._frame()))
        except BoxError as error:
            self._told("off", f"{error}.")
            return
        ui.navigate.to(f"/label/{self._box.record.code}")
