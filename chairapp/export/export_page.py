"""The manager's page of exports: what is wanted, how far it is, and the file to take once."""

import asyncio
from collections.abc import Callable
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form
from fastapi.responses import FileResponse, RedirectResponse, Response
from markupsafe import Markup
from nicegui import ui
from nicegui.client import Client
from starlette.background import BackgroundTask

from chairapp.clinic import MANAGER, Person
from chairapp.elements.audit_frame import audit_page
from chairapp.elements.frame import Door, Frame, Page, chip, html
from chairapp.export.errors import ExportError
from chairapp.export.jobs import Exports, Job
from chairapp.export.write import FORMATS, Format

__all__ = ["add_export_page", "export_routes"]

HERE = "/audit/export"
_EVERY = 0.5
_WAYS: dict[Format, tuple[str, str, str]] = {
    "csv": (
        "Tables for a spreadsheet",
        "A ZIP of CSV files.",
        "One row a visit and one row an answer, changes of wax, acceptances and signatures, with a dictionary that "
        "explains every column and item.",
    ),
    "fhir": (
        "FHIR R4",
        "One JSON file for another system.",
        "A bundle of measurements, answers, the order to the laboratory, the case box, signatures and the trail, in "
        "codes of our own beside two of LOINC.",
    ),
    "json": (
        "Full record",
        "One JSON file for safekeeping.",
        "Every entry as it was stored, the chain over them, keys of signatures and attachments; a verifier that needs "
        "nothing of this program re-checks it.",
    ),
}


def add_export_page(page: Page, frame: Callable[[], Frame], exports: Exports) -> None:
    """/audit/export and /audit/export/JOB. To be added before a page that takes any /audit/NAME."""

    @page(HERE, may=MANAGER)
    def form(kind: str = "csv", since: str = "", until: str = "", code: str = "", why: str = "") -> None:
        here = frame()
        running = exports.running(_id(here.person))
        with audit_page(here, "Export", HERE):
            html(_heading())
            if running:
                html(_running(running))
            html(_form(kind if kind in FORMATS else "csv", since, until, code, why))

    @page(HERE + "/{job}", may=MANAGER)
    def progress(job: str, client: Client) -> None:
        here = frame()
        found = exports.get(job, _id(here.person))
        with audit_page(here, "Export", HERE):
            if found is None:
                client.status_code = 404
                html(_GONE)
            else:
                html(_heading())
                _Watch(found)


def export_routes(exports: Exports, door: Door) -> APIRouter:
    """POST /audit/export (begins one) and POST /audit/export/JOB/file (takes it, once)."""
    router = APIRouter(include_in_schema=False)

    @router.post(HERE)
    async def begin(
        person: Annotated[Person, Depends(door(MANAGER))],
        kind: Annotated[Format, Form()],
        since: Annotated[str, Form(max_length=40)] = "",
        until: Annotated[str, Form(max_length=40)] = "",
        code: Annotated[str, Form(max_length=80)] = "",
    ) -> Response:
        typed = {"kind": kind, "since": since, "until": until, "code": code}
        try:
            job = await asyncio.to_thread(exports.begin, person.id, kind, since, until, code)
        except ExportError as error:
            return _to(f"{HERE}?{urlencode(typed | {'why': str(error)})}")
        return _to(f"{HERE}/{job.id}")

    @router.post(HERE + "/{id}/file")
    async def take(id: str, person: Annotated[Person, Depends(door(MANAGER))]) -> Response:
        job = exports.take(id, person.id)
        if job is None:
            return _to(f"{HERE}/{id}")
        delete = BackgroundTask(job.file.unlink, missing_ok=True)
        headers = {"Cache-Control": "no-store"}
        return FileResponse(job.file, filename=job.name, headers=headers, background=delete)

    return router


def _to(address: str) -> Response:
    return RedirectResponse(address, status_code=303)


def _id(person: Person | None) -> str:
    return person.id if person else ""


# ---- what is wanted


def _heading() -> Markup:
    return Markup(
        '<h1>Export</h1><p class="tm-lead tm-apart">Visits as files. No patient’s name is '
        "in them; the box code stands for the case. Every export goes to the access log.</p>"
    )


def _form(kind: str, since: str, until: str, code: str, why: str) -> Markup:
    ways = Markup("").join(_way(one, one == kind) for one in FORMATS)
    wrong = Markup('<div class="tm-note tm-off" role="alert"><p>{}</p></div>').format(_sentence(why)) if why else ""
    return Markup(
        '<form class="tm-card tm-form" method="post" action="{}">{}'
        '<fieldset class="tm-question"><legend>What for?</legend><div class="tm-told-choices">{}</div></fieldset>'
        '<fieldset class="tm-question"><legend>Visits opened</legend><div class="tm-dates">'
        '<label class="tm-field">From<input type="date" name="since" value="{}"></label>'
        '<label class="tm-field">To<input type="date" name="until" value="{}"></label></div>'
        '<p class="tm-soft tm-small tm-under">Both days belong to it. Left empty: all visits.</p></fieldset>'
        '<fieldset class="tm-question"><label class="tm-field">Only the record of one box'
        '<input name="code" value="{}" autocomplete="off" spellcheck="false"></label>'
        '<p class="tm-soft tm-small tm-under">Its code, 7KQ4-M2X9. Who looked at it comes with it.</p></fieldset>'
        '<button class="tm-button tm-main-action">Make the export</button></form>'
    ).format(HERE, wrong, ways, since, until, code)


def _way(kind: Format, chosen: bool) -> Markup:
    name, short, inside = _WAYS[kind]
    return Markup(
        '<label class="tm-button tm-choice tm-told"><input type="radio" name="kind" value="{}"{}>'
        "<span>{}</span><em>{} {}</em></label>"
    ).format(kind, Markup(" checked") if chosen else "", name, short, inside)


def _running(job: Job) -> Markup:
    return Markup(
        '<div class="tm-note tm-open"><p>An export is running. <a href="{}/{}">Watch it</a></p></div>'
    ).format(HERE, job.id)


def _sentence(why: str) -> str:
    """What was typed comes back in it, escaped by whoever formats it."""
    field, colon, rest = why.partition(": ")
    name = {"since": "From", "until": "To", "code": "Box code"}.get(field, field)
    said = f"{name}{colon}{rest}"
    return said[:1].upper() + said[1:300] + ("" if said.endswith(".") else ".")


# ---- how far it is


class _Watch:
    """One page watching one export."""

    def __init__(self, job: Job) -> None:
        self._job = job
        self._seen: tuple[Any, ...] = ()
        with ui.element("section").classes("tm-card tm-form"):
            html(Markup('<h2 class="tm-first">{}</h2><p>{}</p>').format(_WAYS[job.kind][0], _asked(job)))
            with ui.element("div").props("role=status aria-live=polite"):
                self._progress()
            self._actions()
        self._watching = ui.timer(_EVERY, self._look)

    def _look(self) -> None:
        job = self._job
        now = (job.state, job.done, job.of)
        if now != self._seen:
            self._progress.refresh()
        if job.state != "running" and now != self._seen:
            self._actions.refresh()
            # A page that is open when the file is taken says so; then there is nothing more to see.
            self._watching.active = job.state == "ready"
        self._seen = now

    @ui.refreshable_method
    def _progress(self) -> None:
        html(_STATES[self._job.state](self._job))

    @ui.refreshable_method
    def _actions(self) -> None:
        job = self._job
        with ui.element("div").classes("tm-buttons tm-even"):
            if job.state == "running":
                stop = ui.element("button").classes("tm-button").props("type=button")
                stop.on("click", job.stop.set)
                with stop:
                    html(Markup("Stop"))
            elif job.state == "ready":
                html(_download(job))
            if job.state != "running":
                html(Markup('<a class="tm-button" href="{}">Another export</a>').format(HERE))


def _download(job: Job) -> Markup:
    return Markup(
        '<form method="post" action="{}/{}/file"><button class="tm-button tm-main-action">Download</button></form>'
    ).format(HERE, job.id)


def _asked(job: Job) -> str:
    return f"{job.asked[:1].upper()}{job.asked[1:]}."


def _going(job: Job) -> Markup:
    if not job.of:
        return Markup('<p>Counting the visits.</p><progress class="tm-progress"></progress>')
    return Markup(
        '<p>{} of {} visits looked through.</p><progress class="tm-progress" max="{}" value="{}"></progress>'
    ).format(f"{job.done:,}", f"{job.of:,}", job.of, job.done)


def _ready(job: Job) -> Markup:
    visits = "1 visit is" if job.count == 1 else f"{job.count:,} visits are"
    size = job.file.stat().st_size if job.file.exists() else 0
    left = f" {job.left_out:,} were left out: their sequence is not here." if job.left_out else ""
    return Markup("<p>{} {} in it, {}.{} It can be taken once; then it is deleted here.</p>").format(
        chip("fits", "Ready"), visits, _size(size), left
    )


_STATES: dict[str, Callable[[Job], Markup]] = {
    "running": _going,
    "ready": _ready,
    "taken": lambda _: Markup("<p>It was taken and is no longer here.</p>"),
    "stopped": lambda _: Markup("<p>Stopped. Nothing of it is kept.</p>"),
    "failed": lambda job: Markup('<div class="tm-note tm-off"><p>{}</p></div>').format(_sentence(job.why)),
}


def _size(bytes: int) -> str:
    return f"{bytes / 1e6:.1f} MB" if bytes >= 1e6 else f"{max(1, bytes // 1000)} kB"


_GONE = Markup(
    '<h1>No such export</h1><p class="tm-lead">It was taken, or it is more than an hour old.</p>'
    '<p><a class="tm-button" href="{}">Another export</a></p>'
).format(HERE)
