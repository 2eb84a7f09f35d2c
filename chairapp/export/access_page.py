"""The manager's page of the access log: who looked at what, and who took it away."""

import asyncio
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any
from urllib.parse import urlencode

from markupsafe import Markup

from chairapp.clinic import MANAGER, ClinicDocument, local
from chairapp.elements.audit_frame import AUDIT, audit_page
from chairapp.elements.frame import Frame, Page, html
from chairapp.export.errors import PeriodError
from chairapp.export.period import Period, period_of

__all__ = ["add_access_page"]

HERE = "/audit/access"
PAGE = 50
Line = dict[str, str]


@dataclass(frozen=True)
class _Asked:
    """The filter as it was typed; `first` is the place of the first line shown, the latest being 0."""

    who: str
    visit: str
    since: str
    until: str
    first: int

    def at(self, first: int) -> str:
        typed = {"who": self.who, "visit": self.visit, "since": self.since, "until": self.until}
        given = {name: value for name, value in typed.items() if value}
        return f"{HERE}?{urlencode(given | {'first': first})}"


def add_access_page(
    page: Page,
    frame: Callable[[], Frame],
    clinic: Callable[[], ClinicDocument],
    lines: Callable[[], Iterator[Line]],
    code_of: Callable[[str], str | None],
) -> None:
    """/audit/access. `lines` gives the log, the latest first; `code_of` the box code of a visit.

    To be added before a page that takes any /audit/NAME.
    """

    @page(HERE, may=MANAGER)
    async def access(who: str = "", visit: str = "", since: str = "", until: str = "", first: int = 0) -> None:
        asked = _Asked(who.strip()[:80], visit.strip()[:80], since, until, max(first, 0))
        made = await asyncio.to_thread(_page, asked, clinic(), lines, code_of)
        with audit_page(frame(), "Access log", HERE):
            html(made)


def _page(
    asked: _Asked,
    clinic: ClinicDocument,
    lines: Callable[[], Iterator[Line]],
    code_of: Callable[[str], str | None],
) -> Markup:
    why = ""
    try:
        period = period_of(asked.since, asked.until)
    except PeriodError as error:
        period, why = Period(), str(error)
    wanted = (line for line in lines() if _is_wanted(line, asked, period, clinic, code_of))
    found = list(islice(wanted, asked.first, asked.first + PAGE + 1))
    return Markup("{}{}{}{}{}").format(
        _HEADING, _filter(asked, clinic), _wrong(why), _table(found[:PAGE], clinic, code_of), _turn(asked, len(found))
    )


def _is_wanted(
    line: Line, asked: _Asked, period: Period, clinic: ClinicDocument, code_of: Callable[[str], str | None]
) -> bool:
    if asked.who and line["who"] != asked.who:
        return False
    if asked.visit and asked.visit != line["visit"] and _plain(asked.visit) != (code_of(line["visit"]) or "-"):
        return False
    return period.whole or bool(line["at"] and period.holds(line["at"], local(line["at"], clinic).tzinfo))  # type: ignore[arg-type]


def _plain(code: str) -> str:
    return code.replace("-", "").replace(" ", "").upper()


_HEADING = Markup(
    '<h1>Access log</h1><p class="tm-lead">Who signed in, looked at a visit or took an '
    "export at this node, the latest first. No value and no patient’s name is in it.</p>"
)


def _filter(asked: _Asked, clinic: ClinicDocument) -> Markup:
    people = [("", "Everybody"), *((person.id, person.name) for person in clinic.staff)]
    if asked.who and asked.who not in dict(people):
        people.append((asked.who, asked.who))
    options = Markup("").join(
        Markup('<option value="{}"{}>{}</option>').format(id, Markup(" selected") if id == asked.who else "", name)
        for id, name in people
    )
    return Markup(
        '<form class="tm-card tm-filter" method="get" action="{}" role="search">'
        '<label class="tm-field">Person<select name="who">{}</select></label>'
        '<label class="tm-field">Visit or box code<input name="visit" value="{}" autocomplete="off"></label>'
        '<label class="tm-field">From<input type="date" name="since" value="{}"></label>'
        '<label class="tm-field">To<input type="date" name="until" value="{}"></label>'
        '<button class="tm-button">Show</button></form>'
    ).format(HERE, options, asked.visit, asked.since, asked.until)


def _wrong(why: str) -> Markup:
    told = Markup('<div class="tm-note tm-off" role="alert"><p>{}. All days are shown.</p></div>')
    return told.format(why[:1].upper() + why[1:]) if why else Markup("")


def _table(lines: list[Line], clinic: ClinicDocument, code_of: Callable[[str], str | None]) -> Markup:
    if not lines:
        return Markup('<p class="tm-empty">Nothing is noted for this.</p>')
    rows = Markup("").join(_row(line, clinic, code_of) for line in lines)
    return Markup(
        '<div class="tm-scroll"><table class="tm-table tm-stacked tm-log"><thead><tr><th>When</th><th>Who</th>'
        "<th>What</th><th>Visit</th></tr></thead><tbody>{}</tbody></table></div>"
    ).format(rows)


def _row(line: Line, clinic: ClinicDocument, code_of: Callable[[str], str | None]) -> Markup:
    when = local(line["at"], clinic).strftime("%d %b %Y, %H:%M:%S") if line["at"] else "unknown"
    role = Markup(' <span class="tm-soft tm-small">{}</span>').format(line["role"]) if line["role"] else ""
    return Markup('<tr><td class="tm-when">{}</td><td>{}{}</td><td>{}</td><td>{}</td></tr>').format(
        when, clinic.name_of(line["who"]), role, line["what"], _visit(line["visit"], code_of)
    )


def _visit(visit: str, code_of: Callable[[str], str | None]) -> Markup:
    if not visit:
        return Markup("")
    code = code_of(visit)
    told: Any = Markup('<span class="tm-code">{}-{}</span>').format(code[:4], code[4:]) if code else visit
    return Markup('<a href="{}/{}">{}</a>').format(AUDIT, visit, told)


def _turn(asked: _Asked, found: int) -> Markup:
    ways = [(max(asked.first - PAGE, 0), "Newer")] if asked.first else []
    if found > PAGE:
        ways.append((asked.first + PAGE, "Older"))
    made = [Markup('<a class="tm-button" href="{}">{}</a>').format(asked.at(place), word) for place, word in ways]
    return Markup('<p class="tm-buttons tm-turn">{}</p>').format(Markup("").join(made)) if made else Markup("")
