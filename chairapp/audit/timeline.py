"""The trail as a timeline: a table in the order in which entries count, a heading for every day."""

from markupsafe import Markup

from chairapp.audit.page_parts import joined
from chairapp.audit.trail import Line

__all__ = ["timeline"]

_HEADS = ("When", "Who and where", "What", "Value")


def timeline(lines: list[Line]) -> Markup:
    rows: list[Markup] = []
    day, came = "", ""
    for line in lines:
        if line.day != day:
            rows.append(Markup('<tr class="tm-day"><td colspan="4">{}</td></tr>').format(line.day))
        # What came together says so once.
        rows.append(_row(line, told=line.received[:-3] != came or line.day != day))
        day, came = line.day, line.received[:-3]
    heads = joined(Markup('<th scope="col">{}</th>').format(head) for head in _HEADS)
    return Markup(
        '<h2 id="trail">Trail, {} entries</h2><p class="tm-about">Times are by the clock of the device that made the '
        "entry; below is when it came here, where that was another minute; what came together says so once.</p>"
        '<div class="tm-scroll" tabindex="0" role="region" aria-label="Trail"><table class="tm-table tm-stacked">'
        "<thead><tr>{}</tr></thead><tbody>{}</tbody></table></div>"
    ).format(len(lines), heads, joined(rows))


def _row(line: Line, *, told: bool) -> Markup:
    return Markup('<tr{}><td class="tm-when">{}{}{}</td><td>{}{}</td><td>{}</td><td>{}{}</td></tr>').format(
        Markup(' class="tm-gone"') if line.fate else "",
        line.time,
        _small("tm-came", f"came {line.received}") if told and _apart(line) else "",
        _small("tm-wrong-clock", line.clock) if line.clock else "",
        line.who,
        _small("tm-came", line.where),
        line.what,
        Markup("<s>{}</s> <span class='tm-small'>{}</span>").format(line.value, line.fate) if line.fate else line.value,
        _small("tm-came", f"in place of: {line.before}") if line.before else "",
    )


def _apart(line: Line) -> bool:
    return bool(line.received) and line.received[:5] != line.time[:5]


def _small(kind: str, text: str) -> Markup:
    return Markup('<span class="{}">{}</span>').format(kind, text)
