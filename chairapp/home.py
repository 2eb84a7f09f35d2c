"""The front door of a node: one sentence and three large ways in."""

import asyncio
from collections.abc import Callable

from markupsafe import Markup

from chairapp.clinic import ANYONE
from chairapp.elements.frame import Frame, Page, html

__all__ = ["add_home"]

_SENTENCE = (
    "Shape the two wax rims step by step, judge every reading on the spot, and send the case off with its record."
)
_CHAIR = Markup(
    '<svg viewBox="0 0 48 48" aria-hidden="true"><path d="M6 13c2 17 8 25 18 25s16-8 18-25"/>'
    '<path d="M14 13c1 10 4 15.5 10 15.5S33 23 34 13"/>'
    '<path d="M6 13h8M34 13h8"/><circle cx="24" cy="33.5" r="1.2"/></svg>'
)
_BOX = Markup(
    '<svg viewBox="0 0 48 48" aria-hidden="true"><path d="M6 16l18-9 18 9v17l-18 9-18-9z"/>'
    '<path d="M6 16l18 9 18-9M24 25v17"/>'
    '<path d="M30 33.5l6-3v5l-6 3z"/></svg>'
)
_AUDIT = Markup(
    '<svg viewBox="0 0 48 48" aria-hidden="true"><path d="M11 6h19l8 8v28H11z"/><path d="M30 6v8h8"/>'
    '<path d="M17 23l2.5 2.500L24 21M28 24h5M17 33l2.5 2.500L24 31M28 34h5"/></svg>'
)


def add_home(
    page: Page, frame: Callable[[], Frame], audit: str, waits: Callable[[], str], cares: Callable[[], Markup]
) -> None:
    """`/`; `audit` is where the manager's pages are, at the clinic server. `waits` says what has to be done first.

    `cares` is what a manager has to look after; it blocks.
    """
    ways = (
        (
            "/chair",
            _CHAIR,
            "Walk a visit",
            "For the clinician: fifteen steps on the tablet, also with the network off.",
        ),
        ("/label", _BOX, "Label a box", "For the assistant: a label for every signed visit, no name on it."),
        (audit, _AUDIT, "Look at the record", "For the practice manager: what was signed, and every entry behind it."),
    )

    @page("/", may=ANYONE)
    async def home() -> None:
        this = frame()
        manages = this.person is not None and this.person.role == "manager"
        with this.page("Home", "/"):
            if first := waits():
                html(Markup('<h1>{}</h1><p class="tm-lead">{}</p>').format(_SENTENCE, first))
                return
            html(
                Markup('<h1>{}</h1>{}<div class="tm-ways">{}</div>').format(
                    _SENTENCE,
                    await asyncio.to_thread(cares) if manages else "",
                    Markup("").join(_way(*way) for way in ways),
                )
            )


def _way(address: str, picture: Markup, title: str, about: str) -> Markup:
    return Markup('<a class="tm-way" href="{}">{}<strong>{}</strong><span>{}</span></a>').format(
        address, picture, title, about
    )
