"""Where every box is, since when, and what is overdue."""

from markupsafe import Markup

from chairapp.box.code import shown
from chairapp.box.controls import scan_field, when
from chairapp.box.desk import SHOWN, Desk, Placed
from chairapp.box.movement import HERE
from chairapp.clinic import ClinicDocument
from chairapp.elements.frame import chip

__all__ = ["places"]


def places(desk: Desk) -> Markup:
    """The lists, without the field for the scanner. Blocks."""
    found, clinic = desk.places(), desk.clinic()
    away = found.pop("laboratory")
    here = found.pop(HERE)
    groups = (
        ("Overdue at the laboratory", [box for box in away if box.where.overdue]),
        ("At the laboratory", [box for box in away if not box.where.overdue]),
        ("Back from the laboratory", found.pop("clinic")),
        ("At the chair", found.pop("chair")),
        ("Signed, not sent yet", [box for box in here if box.line.signed]),
        ("Not signed yet", [box for box in here if not box.line.signed]),
        ("Finished", found.pop("finished")),
    )
    listed = Markup("").join(_group(title, boxes, clinic) for title, boxes in groups if boxes)
    return listed or Markup(
        '<p class="tm-empty tm-apart">There is no box yet: every visit opened at a chair is one.</p>'
    )


def head() -> Markup:
    return Markup(
        '<h1>Where the boxes are</h1><p class="tm-lead">Scan a label, or type its code, to move a box.</p>{}'
    ).format(scan_field("/boxes"))


def _group(title: str, boxes: list[Placed], clinic: ClinicDocument) -> Markup:
    rows = Markup("").join(_row(box, clinic) for box in boxes[:SHOWN])
    more = len(boxes) - SHOWN
    rest = (
        Markup('<p class="tm-soft tm-under">and {} more: type a code to find one.</p>').format(more) if more > 0 else ""
    )
    return Markup('<h2>{} <span class="tm-soft">{}</span></h2><ul class="tm-list">{}</ul>{}').format(
        title, len(boxes), rows, rest
    )


def _row(box: Placed, clinic: ClinicDocument) -> Markup:
    line, where = box.line, box.where
    days = "today" if not where.days else f"{where.days} day{'' if where.days == 1 else 's'}"
    wanted = f" · wanted back by {line.wanted}" if line.wanted and where.place in (HERE, "laboratory") else ""
    since = "opened" if where.place == HERE else "since"
    return Markup(
        '<li><a class="tm-row" href="/B/{}"><span class="tm-code">{}</span>'
        '<div><p>{}</p><p class="tm-soft tm-small">{} {}{}</p></div>{}</a></li>'
    ).format(
        line.code,
        shown(line.code),
        f"{days} · chair {line.chair} · {clinic.name_of(line.author)}",
        since,
        when(where.since, clinic),
        wanted,
        chip("off", "overdue") if where.overdue else "",
    )
