"""A page of the smallest kind, for tests of what carries a page: a list of entries, a button, the state of things."""

from pathlib import Path

from nicegui import ui
from nicegui.element import Element

from chairapp.tablet import Author


class StandIn(Element, component=Path(__file__).parent / "tm_stand_in.js"):
    """Adds an entry at every tap and shows how many there are."""


def build(mark: str = "") -> None:
    """`mark` stands on the page: another mark makes another release."""
    ui.add_css("body { font: 20px system-ui; } button { min-height: 72px; }")
    with ui.element("main"):
        ui.element("p").props(f'id="mark" innerHTML="{mark}"')
        StandIn()


AUTHOR = Author(build, lambda: '{"en": {"title": "Stand-in"}}')
