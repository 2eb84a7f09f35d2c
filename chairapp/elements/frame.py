"""The frame of every page that talks to its server: header, ways to the other rooms, the notice that data are invented.

The tablet page has its own frame; it works with the network off.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Protocol

from markupsafe import Markup
from nicegui import ui

from chairapp.clinic import Person, Roles

__all__ = ["Door", "Frame", "Page", "chip", "html"]

Builder = Callable[..., Any]
Door = Callable[[Roles], Callable[..., Any]]
"""For a route that is no page: `Annotated[Person, Depends(door(MANAGER))]` lets in who may, and says who it is."""


class Page(Protocol):
    """Stands where `ui.page` stands: `page("/path", may=STAFF)` decorates a page builder. One guard for every page."""

    def __call__(self, path: str, *, may: Roles) -> Callable[[Builder], Builder]: ...


# The same outlines as on the tablet page (tm_shapes.js).
_SHAPES = {
    "open": '<circle class="l" cx="12" cy="12" r="9" stroke-dasharray="3.2 4.1"/>',
    "stale": '<path class="l" d="M19.5 8.5A8.5 8.5 0 1 0 20.5 13.5M20.5 3.5v5.4h-5.4"/>',
    "unsure": '<path d="M12 1.2 22.8 12 12 22.8 1.2 12z"/>'
    '<path class="c" d="M7.4 13.2c1.5-2.6 3.1-2.6 4.6-1.2s3.1 1.4 4.6-1.2"/>',
    "off": '<path d="M8 1.6h8L22.4 8v8L16 22.4H8L1.6 16V8z"/><path class="c" d="M12 6.6v6.6M12 17.1v.1"/>',
    "fits": '<circle cx="12" cy="12" r="11"/><path class="c" d="m7 12.4 3.5 3.5L17 9"/>',
    "accepted": '<path d="M5 1.5h14A3.5 3.5 0 0 1 22.5 5v14a3.5 3.5 0 0 1-3.5 3.5H5'
    'A3.5 3.5 0 0 1 1.5 19V5A3.5 3.5 0 0 1 5 1.5z"/>'
    '<path class="c" d="m7 10.4 3.5 3.5L17 7M7 18.2h10"/>',
}


@dataclass(frozen=True)
class Frame:
    """What all pages of one node share. `ways` are (address, name) of its rooms, `node` says which node this is.

    `mark` is the picture beside the name, an SVG of ours. `person` is who is signed in to the page being made or whose
    event is being handled.
    """

    node: str
    clinic: str
    invented: bool
    ways: tuple[tuple[str, str], ...]
    mark: Markup
    person: Person | None = None
    pin: str = "/pin"
    """Where somebody changes their own PIN."""

    @contextmanager
    def page(self, title: str, here: str = "") -> Iterator[None]:
        """Build a page inside; `title` is the browser's, `here` the address of the room it belongs to."""
        ui.page_title(f"{title} · Threemark")
        ui.add_head_html(_styles())
        if self.invented:
            html(
                Markup(
                    '<p class="tm-invented">Demonstration: the clinic, its people and these visits are invented.</p>'
                )
            )
        html(self._header(here))
        # The layout around every page is its `main` already.
        with ui.element("div").classes("tm-main"):
            yield

    def _header(self, here: str) -> Markup:
        ways = Markup("").join(
            Markup('<a href="{}"{}>{}</a>').format(way, Markup(' aria-current="page"') if way == here else "", name)
            for way, name in self.ways
        )
        return Markup(
            '<header class="tm-header"><a class="tm-brand" href="/">{}<span>Threemark</span></a>'
            '<nav aria-label="Rooms">{}</nav>{}<p class="tm-node">{}<span>{}</span></p></header>'
        ).format(self.mark, ways, self._who(here), self.clinic, self.node)

    def _who(self, here: str) -> Markup:
        """Who is signed in, with the way to change person and, for all but the invented people, the way out."""
        way = f"/sign-in?then={here or '/'}"
        if self.person is None:
            return Markup('<p class="tm-who"><a href="{}">Sign in</a></p>').format(way)
        return Markup(
            '<form class="tm-who" method="post" action="/sign-out"><strong>{}</strong><a href="{}">Change person</a>'
            '<a href="{}">PIN</a>'
            '<button type="submit">Sign out</button></form>'
        ).format(self.person.name, way, self.pin)


def html(markup: Markup) -> ui.html:
    """Put ready markup on the page. Only Markup: what people typed comes through its `format`, which escapes."""
    return ui.html(markup, sanitize=False)


def chip(verdict: str, word: str) -> Markup:
    """A verdict as shape, word and tint."""
    shape = Markup('<svg viewBox="0 0 24 24" aria-hidden="true">{}</svg>').format(Markup(_SHAPES[verdict]))  # noqa: S704
    return Markup('<span class="tm-chip tm-{}">{}{}</span>').format(verdict, shape, word)


@cache
def _styles() -> str:
    here = files("chairapp.elements")
    return "".join(f"<style>{(here / name).read_text('utf-8')}</style>" for name in ("base.css", "frame.css"))
