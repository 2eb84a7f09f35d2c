"""Small things the assistant's pages share: buttons, the line that says what was done, the field for a scanner."""

from collections.abc import Callable
from typing import Any

from markupsafe import Markup
from nicegui import ui

from chairapp.box.code import shown
from chairapp.box.errors import CodeError
from chairapp.clinic import ClinicDocument, local
from chairapp.elements.frame import Frame, chip, html

__all__ = [
    "Told",
    "button",
    "choices",
    "focus_scan_field",
    "keep_typed",
    "no_such_box",
    "note",
    "scan_field",
    "when",
    "who",
]


def button(name: str, click: Callable[..., Any], kind: str = "") -> ui.element:
    made = ui.element("button").classes(f"tm-button {kind}").props("type=button")
    made.on("click", click)
    with made:
        html(Markup("{}").format(name))
    return made


def choices(
    name: str, word: str, ways: tuple[tuple[Any, str], ...], keep: Callable[[Any], None], chosen: Any = None
) -> None:
    """Radio buttons that look like buttons, so that a choice is seen at once and the keyboard works."""
    with ui.element("fieldset").classes("tm-question"):
        with ui.element("legend"):
            html(Markup("{}").format(word))
        with ui.element("div").classes("tm-pairs"):
            for value, label in ways:
                with ui.element("label").classes("tm-button tm-choice"):
                    checked = "checked" if value == chosen else ""
                    radio = ui.element("input").props(f"type=radio name={name} {checked}")
                    radio.on("change", lambda _, value=value: keep(value))
                    html(Markup("<span>{}</span>").format(label))


def keep_typed(field: ui.element, value: str) -> None:
    """What stands in a field at first: as its attribute, for a property would be set again over what is being typed."""
    field.props["^value"] = value


class Told:
    """The line under a button that says what came of pressing it; screen readers are told too."""

    def __init__(self) -> None:
        self._line = html(self._said(""))

    def __call__(self, kind: str, sentence: str) -> None:
        self._line.set_content(self._said(chip(kind, sentence)))

    def _said(self, what: str) -> Markup:
        return Markup('<p class="tm-status" role="status">{}</p>').format(what)


def who(frame: Frame) -> str:
    """The id of the person who is signed in; a page behind the guard always has one."""
    assert frame.person is not None  # noqa: S101 - the guard let somebody in
    return frame.person.id


def when(at: str, clinic: ClinicDocument) -> str:
    return local(at, clinic).strftime("%d %b %Y, %H:%M")


def note(kind: str, title: str, text: str) -> Markup:
    return Markup('<div class="tm-note tm-{}"><h3>{}</h3><p>{}</p></div>').format(kind, title, text)


# A scanner that acts as a keyboard types into what has the focus. On a phone the focus would only open its keyboard.
_FOCUS = (
    "if (matchMedia('(pointer: fine)').matches)"
    " document.querySelector('.tm-search input')?.focus({preventScroll: true})"
)


def scan_field(room: str, label: str = "Box code") -> Markup:
    """A form that goes to `room`?code=...; give it to the page with `focus_scan_field` where a scanner is awaited."""
    return Markup(
        '<form class="tm-search" action="{}" method="get" role="search"><label class="tm-field">{}'
        '<input name="code" autocomplete="off" autocapitalize="characters" spellcheck="false" maxlength="120"></label>'
        '<button class="tm-button" type="submit">Find</button></form>'
    ).format(room, label)


def focus_scan_field() -> None:
    ui.run_javascript(_FOCUS)


def no_such_box(error: CodeError, room: str, field: str) -> Markup:
    """A code with a slip, the nearest known ones to choose from, and the field to type it again."""
    sentence = str(error).partition("; did you mean")[0]
    links = Markup("").join(
        Markup('<a class="tm-button tm-code" href="{}/{}">{}</a>').format(room, code, shown(code))
        for code in error.suggestions
    )
    nearest = Markup('<h2>Near it</h2><p class="tm-soft">Compare with the label, then choose.</p>{}').format(
        Markup('<div class="tm-buttons">{}</div>').format(links)
    )
    return Markup('<h1>No box by that code</h1><p class="tm-lead">{}.</p>{}{}').format(
        sentence[:1].upper() + sentence[1:], nearest if error.suggestions else "", scan_field(field)
    )
