"""What the manager's pages share: the ways between them, tables of figures, shares in words, plots with their table."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import cache
from importlib.resources import files
from typing import Any

from markupsafe import Markup
from nicegui import ui

from chairapp.audit.statistics import Share
from chairapp.clinic import ClinicDocument, local
from chairapp.elements import audit_frame
from chairapp.elements.frame import Frame

__all__ = [
    "audit_page",
    "codeword",
    "joined",
    "mm",
    "percent",
    "plot",
    "share",
    "table",
    "too_few",
    "when",
    "when_ms",
]


@contextmanager
def audit_page(frame: Callable[[], Frame], title: str, here: str = "") -> Iterator[None]:
    """A page of the audit; `here` is which of its ways is open."""
    ui.add_head_html(f"<style>{_styles()}</style>")
    with audit_frame.audit_page(frame(), title, here):
        yield


def table(
    heads: Sequence[str],
    rows: Iterable[Sequence[Any]],
    *,
    caption: str,
    figures: Sequence[int] = (),
    seen: bool = False,
) -> Markup:
    """A table; columns in `figures` hold numbers and stand to the right. Put Markup in a cell, or text.

    `caption` names it to those who listen, and with `seen` to everybody: where no heading stands above it.
    """
    right = [Markup(' class="tm-figure"') if at in figures else Markup("") for at in range(len(heads))]
    head = joined(Markup('<th scope="col"{}>{}</th>').format(to, name) for to, name in zip(right, heads, strict=True))
    body = joined(
        Markup("<tr>{}</tr>").format(
            joined(
                Markup(_CELL if at else _FIRST_CELL).format(name, to, cell)  # noqa: S704 - ours
                for at, (name, to, cell) in enumerate(zip(heads, right, row, strict=True))
            )
        )
        for row in rows
    )
    told = Markup('<caption class="{}">{}</caption>').format("" if seen else "tm-unseen", caption)
    return Markup(
        '<div class="tm-scroll" tabindex="0" role="region" aria-label="{}"><table class="tm-table tm-figures">{}'
        "<thead><tr>{}</tr></thead><tbody>{}</tbody></table></div>"
    ).format(caption, told, head, body)


# On a phone each cell stands behind the heading of its column.
_CELL = '<td data-head="{}"{}>{}</td>'
_FIRST_CELL = '<th scope="row" data-head="{}"{}>{}</th>'


def plot(options: dict[str, Any], told: str, height: str = "20rem") -> None:
    """A plot whose figures stand in a table beside it; `told` says in words what it shows."""
    chart = ui.echart(options, renderer="svg").classes("tm-plot").style(f"height: {height}")
    chart.props["role"], chart.props["aria-label"] = "img", told


def share(found: Share | None) -> Markup:
    """ "12 % (5-24)", as a share and its interval."""
    if found is None:
        return too_few()
    return Markup('{} <span class="tm-soft tm-small">{}–{}</span>').format(
        percent(found.value), _whole(found.low), percent(found.high)
    )


def percent(value: float) -> str:
    return f"{_whole(value)} %"


def _whole(value: float) -> str:
    return f"{100 * value:.0f}"


def mm(value: float | None, digits: int = 2) -> Markup:
    return too_few() if value is None else Markup("{} mm").format(f"{value:.{digits}f}")


def too_few() -> Markup:
    return Markup('<span class="tm-soft">too few</span>')


def codeword(code: str) -> str:
    """A box code as it is printed and read aloud; "no box code" where none has arrived."""
    return f"{code[:4]}-{code[4:]}" if code else "no box code"


def joined(parts: Iterable[Markup]) -> Markup:
    return Markup("").join(parts)


def when(at: str, clinic: ClinicDocument) -> str:
    return local(at, clinic).strftime("%d %b %Y, %H:%M")


def when_ms(ms: int, clinic: ClinicDocument) -> str:
    return when(datetime.fromtimestamp(ms / 1000, UTC).isoformat(), clinic)


@cache
def _styles() -> str:
    return (files("chairapp.audit") / "audit.css").read_text("utf-8")
