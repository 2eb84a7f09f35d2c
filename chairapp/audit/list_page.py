"""/audit: visits as a list, filters in one tap or by a form, counted, kept fresh while entries arrive."""

import asyncio
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from markupsafe import Markup
from nicegui import ui
from nicegui.events import GenericEventArguments

from chairapp.audit.asked import ONLY, Asked, Cursor
from chairapp.audit.errors import AskedError
from chairapp.audit.list_rows import listed
from chairapp.audit.listing import COUNTED, Page
from chairapp.audit.page_parts import joined
from chairapp.audit.saved import NAME_MAX, Saved, SavedFilters
from chairapp.audit.sources import Sources
from chairapp.audit.summary import AsOf
from chairapp.audit.summed import STATES, VERDICTS
from chairapp.clinic import ClinicDocument, local
from chairapp.elements.audit_frame import AUDIT
from chairapp.elements.frame import Frame, html
from chairapp.register import Words, words_of

__all__ = ["ListPage", "form"]

_LOOK_AGAIN_S = 3.0


@dataclass(frozen=True)
class _Shown:
    """What the list is made of at one moment."""

    page: Page
    counts: dict[str, int]
    count: int
    as_of: AsOf


class ListPage:
    """`wrong` is what was wrong with the address; the list then shows what could be read of it."""

    def __init__(
        self, sources: Sources, frame: Callable[[], Frame], asked: Asked, cursor: Cursor | None, wrong: str = ""
    ) -> None:
        self._sources = sources
        self._asked = asked
        self._cursor = cursor
        self._wrong = wrong
        person = frame().person
        self._saved = SavedFilters(sources.kept, person.id if person else "")

    async def build(self) -> None:
        shown, people, chairs = await asyncio.to_thread(self._look)
        clinic, words = self._sources.clinic(), words_of(self._sources.sequence(), "en")
        html(Markup("<h1>Visits</h1>"))
        self._as_of = html(_as_of(shown.as_of, clinic))
        self._tiles = html(_tiles(self._asked, shown.counts))
        if self._wrong:
            html(Markup('<div class="tm-note tm-off" role="alert"><p>{}.</p></div>').format(self._wrong))
        html(
            Markup('<div class="tm-beside">{}</div>{}').format(
                _search(), _filters(self._asked, people, chairs, clinic, words)
            )
        )
        await self._build_saved()
        self._list = html(_list(shown, self._asked, clinic, words, bool(self._cursor)))
        self._changes = (shown.as_of.changes, shown.as_of.behind)
        ui.timer(_LOOK_AGAIN_S, self._look_again, immediate=False)

    def _look(self) -> tuple[_Shown, list[str], list[str]]:
        authors, chairs = self._sources.listing.people()
        return self._now(), authors, chairs

    def _now(self) -> _Shown:
        listing, asked = self._sources.listing, self._asked
        as_of = self._sources.summaries.as_of()
        return _Shown(listing.page(asked, self._cursor), listing.counts(asked), listing.count(asked), as_of)

    async def _look_again(self) -> None:
        """Only what changed is drawn again, and nothing while nothing came in."""
        as_of = await asyncio.to_thread(self._sources.summaries.as_of)
        clinic, words = self._sources.clinic(), words_of(self._sources.sequence(), "en")
        self._as_of.set_content(_as_of(as_of, clinic))
        if (as_of.changes, as_of.behind) == self._changes:
            return
        shown = await asyncio.to_thread(self._now)
        self._changes = (shown.as_of.changes, shown.as_of.behind)
        for part, fresh in (
            (self._tiles, _tiles(self._asked, shown.counts)),
            (self._list, _list(shown, self._asked, clinic, words, bool(self._cursor))),
        ):
            if part.content != fresh:
                part.set_content(fresh)

    # ---- saved filters

    async def _build_saved(self) -> None:
        self._links = ui.element("div").classes("tm-saved")
        await self._show_saved()
        if not self._asked.query:
            return
        with ui.element("details").classes("tm-more"):
            with ui.element("summary"):
                html(Markup("Save this filter"))
            with ui.element("div").classes("tm-keep"):
                with ui.element("label").classes("tm-field"):
                    html(Markup("Name"))
                    field = ui.element("input").props(f"maxlength={NAME_MAX} name=filter autocomplete=off")
                    field.on("input", self._name, js_handler="(event) => emit(event.target.value)")
                button = ui.element("button").classes("tm-button").props("type=button")
                button.on("click", self._save)
                with button:
                    html(Markup("Save"))
            self._told = html(Markup('<p class="tm-status" role="status"></p>'))
        self._typed = ""

    def _name(self, event: GenericEventArguments) -> None:
        self._typed = str(event.args)

    async def _save(self) -> None:
        try:
            await asyncio.to_thread(self._saved.save, self._typed, self._asked.query)
        except AskedError as error:
            self._told.set_content(Markup('<p class="tm-status" role="status">{}.</p>').format(error))
            return
        self._told.set_content(Markup('<p class="tm-status" role="status">Saved.</p>'))
        await self._show_saved()

    async def _show_saved(self) -> None:
        every = await asyncio.to_thread(self._saved.all)
        self._links.clear()
        with self._links:
            for saved in every:
                self._link(saved)

    def _link(self, saved: Saved) -> None:
        here = Markup(' aria-current="page"') if saved.query == self._asked.query else ""
        with ui.element("span"):
            html(Markup('<a href="{}?{}"{}>{}</a>').format(AUDIT, saved.query, here, saved.name))
            button = ui.element("button").classes("tm-button tm-quiet").props("type=button")
            button.props["aria-label"] = f"Remove the filter {saved.name}"
            button.on("click", lambda: self._remove(saved.name))
            with button:
                html(Markup("×"))

    async def _remove(self, name: str) -> None:
        await asyncio.to_thread(self._saved.remove, name)
        await self._show_saved()


def _as_of(as_of: AsOf, clinic: ClinicDocument) -> Markup:

    at = local(datetime.fromtimestamp(as_of.at / 1000, UTC).isoformat(), clinic).strftime("%d %b %Y, %H:%M:%S")
    behind = f"; {as_of.behind} with newer entries are being taken in" if as_of.behind else ""
    return Markup('<p class="tm-as-of">As of {}{}. Times are the clinic’s own.</p>').format(at, behind)


def _tiles(asked: Asked, counts: dict[str, int]) -> Markup:
    return Markup('<div class="tm-tiles">{}</div>').format(
        joined(
            Markup('<a class="tm-tile" href="{}"{}><b>{}</b><span>{}</span></a>').format(
                _address(asked.but(only="" if asked.only == only else only)),
                Markup(' aria-current="true"') if asked.only == only else "",
                counted(counts[only]),
                word,
            )
            for only, word in ONLY.items()
        )
    )


def counted(count: int) -> str:
    return f"{COUNTED:,}+" if count > COUNTED else f"{count:,}"


def _search() -> Markup:
    return Markup(
        '<form class="tm-search" action="{}" method="get" role="search"><label class="tm-field">Box code'
        '<input name="code" autocomplete="off" autocapitalize="characters" spellcheck="false" maxlength="120"></label>'
        '<button class="tm-button" type="submit">Find</button></form>'
    ).format(AUDIT)


def _filters(asked: Asked, people: list[str], chairs: list[str], clinic: ClinicDocument, words: Words) -> Markup:
    fields = joined(
        (
            options("State", "state", asked.state, STATES.items()),
            options("Verdict", "verdict", asked.verdict, [(one, words(f"verdict.{one}")) for one in VERDICTS]),
            Markup('<input type="hidden" name="only" value="{}">').format(asked.only) if asked.only else Markup(""),
        )
    )
    narrowed = Markup(" open") if asked.narrows else ""
    return Markup(
        '<details class="tm-more"{}><summary>Period, clinician, chair, state, verdict</summary>{}</details>'
    ).format(narrowed, form(AUDIT, asked, people, chairs, clinic, fields))


def form(
    address: str, asked: Asked, people: list[str], chairs: list[str], clinic: ClinicDocument, more: Markup
) -> Markup:
    """The filters as a form; `more` are further fields of it."""
    return Markup(
        '{}<form class="tm-asking" action="{}" method="get">'
        '<label class="tm-field">Opened from<input type="date" name="since" value="{}"></label>'
        '<label class="tm-field">until<input type="date" name="until" value="{}"></label>{}{}{}'
        '<div class="tm-buttons"><button class="tm-button" type="submit">Show</button>'
        '<a class="tm-button" href="{}">Show all</a></div></form>'
    ).format(
        period_links(address, asked, clinic),
        address,
        asked.since or "",
        asked.until or "",
        options("Clinician", "clinician", asked.clinician, [(id, clinic.name_of(id)) for id in people]),
        options("Chair", "chair", asked.chair, [(chair, chair) for chair in chairs]),
        more,
        address,
    )


def period_links(address: str, asked: Asked, clinic: ClinicDocument) -> Markup:
    """Periods in one tap, counted from today at the clinic."""

    today = local(datetime.now(UTC).isoformat(), clinic).date()
    first = today.replace(day=1)
    last = first - timedelta(days=1)
    periods: tuple[tuple[str, date | None, date | None], ...] = (
        ("7 days", today - timedelta(days=6), None),
        ("This month", first, None),
        ("Last month", last.replace(day=1), last),
        ("12 months", today - timedelta(days=364), None),
        ("All time", None, None),
    )
    return Markup('<p class="tm-saved">{}</p>').format(
        joined(
            Markup('<a href="{}"{}>{}</a>').format(
                f"{address}?{asked.but(since=since, until=until).query or 'since='}",
                Markup(' aria-current="true"') if (asked.since, asked.until) == (since, until) else "",
                name,
            )
            for name, since, until in periods
        )
    )


def options(label: str, name: str, chosen: str, known: Iterable[tuple[str, str]]) -> Markup:
    """A field to choose one of `known`, (value, word) pairs, or any."""
    every = [("", "Any"), *known]
    if chosen and chosen not in dict(every):
        every.append((chosen, chosen))
    made = joined(
        Markup('<option value="{}"{}>{}</option>').format(value, Markup(" selected") if value == chosen else "", word)
        for value, word in every
    )
    return Markup('<label class="tm-field">{}<select name="{}">{}</select></label>').format(label, name, made)


def _address(asked: Asked, address: str = AUDIT) -> str:
    return f"{address}?{asked.query}" if asked.query else address


def _list(shown: _Shown, asked: Asked, clinic: ClinicDocument, words: Words, turned: bool) -> Markup:
    title = ONLY[asked.only] if asked.only else "All visits" if not asked.narrows else "Visits asked for"
    if not shown.page.visits:
        empty = "Nothing more." if turned else "None."
        return Markup('<section class="tm-listed"><h2>{}</h2><p class="tm-empty">{}</p></section>').format(title, empty)
    rows = joined(listed(visit, clinic, words) for visit in shown.page.visits)
    return Markup(
        '<section class="tm-listed"><h2>{} <span class="tm-soft tm-small">{}</span></h2>'
        '<ul class="tm-list">{}</ul>{}</section>'
    ).format(title, counted(shown.count), rows, _turn(shown.page, asked))


def _turn(page: Page, asked: Asked) -> Markup:
    links = [(cursor, word) for cursor, word in ((page.newer, "Newer"), (page.older, "Older")) if cursor]
    made = joined(
        Markup('<a class="tm-button" href="{}?{}page={}">{}</a>').format(
            AUDIT, Markup("{}&amp;").format(asked.query) if asked.query else "", cursor.text, word
        )
        for cursor, word in links
    )
    return Markup('<p class="tm-buttons" style="margin-top:1rem">{}</p>').format(made) if links else Markup("")
