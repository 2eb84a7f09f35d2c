"""/set-up: the first start of a clinic server. Whoever sees its window has the link, and becomes the first manager."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response
from markupsafe import Markup

from chairapp.clinic import ANYONE, ClinicDocument, Person
from chairapp.elements.frame import Frame, Page, html
from chairapp.people.callers import caller_of
from chairapp.people.clinic_book import ClinicBook, new_id
from chairapp.people.clinic_form import clinic_fields, settings_in
from chairapp.people.doors import Doors
from chairapp.people.form import Form, page_of, see, typed_in, wait_first
from chairapp.people.links import Links
from chairapp.people.pins import Pins
from chairapp.people.sign_in import signed_in

__all__ = ["SetUp", "add_set_up", "set_up_routes"]

_ZONES = "/usr/share/zoneinfo/"


@dataclass(frozen=True)
class SetUp:
    """What setting up needs. `blank` is a document of nobody's that lends what is not asked."""

    book: ClinicBook
    links: Links
    pins: Pins
    blank: Callable[[], ClinicDocument]
    languages: list[str]

    def link(self, server: str, address: str) -> str | None:
        """The address to open, with a new code; None when the clinic is set up. `server` names this one."""
        return None if self.book.document() else f"{address}/set-up?code={self.links.make(server)}"

    def may(self, code: str) -> bool:
        return self.book.document() is None and self.links.purpose(code) is not None


def add_set_up(page: Page, frame: Callable[[], Frame], set_up: SetUp) -> None:
    @page("/set-up", may=ANYONE)
    def first(code: str = "") -> None:
        with frame().page("Set up"):
            if not set_up.may(code):
                html(_over(set_up.book.document() is not None))
            else:
                address = set_up.blank().label_address
                typed = {"code": code, "label_address": address, "time_zone": _zone_of_this_machine()}
                typed["languages"] = set_up.languages[0]
                html(_page(Form(typed), set_up.languages))


def set_up_routes(doors: Doors, set_up: SetUp) -> APIRouter:
    router = APIRouter(include_in_schema=False)

    @router.post("/set-up")
    async def begin(request: Request) -> Response:
        if wait := doors.tries.wait(caller_of(request)):
            return wait_first(request, doors.frame, wait)
        form = Form(await typed_in(request))
        if not await run_in_threadpool(set_up.may, form.typed.get("code", "")):
            doors.tries.wrong(caller_of(request))
            return see("/set-up")
        manager = await run_in_threadpool(_begun, form, set_up)
        if manager is None:
            return page_of(request, doors.frame, "Set up", "", _page(form, set_up.languages))
        await run_in_threadpool(doors.noted, manager, "set the clinic up")
        return await signed_in(doors, request, manager, "/people")

    return router


def _begun(form: Form, set_up: SetUp) -> Person | None:
    """The clinic, set up with its first manager; None when something typed is wrong or the link was used meanwhile."""
    blank = set_up.blank()
    settings = settings_in(form, blank)
    name, pin = form.typed.get("name", ""), form.typed.get("pin", "")
    if not 0 < len(name) <= 120:
        form.faults["name"] = "Your name: write it, up to 120 characters."
    form.check_pin()
    if form.faults:
        return None
    if set_up.links.use(form.typed["code"]) is None:
        form.faults[""] = "This link was used: look at the window of the server for a new one."
        return None
    manager = Person(id=new_id(name, []), name=name, role="manager")
    document = blank.model_copy(update={**settings, "staff": [manager], "invented": False})
    set_up.book.begin(document, manager.id)
    set_up.pins.set(manager.id, pin)
    return manager


def _page(form: Form, languages: list[str]) -> Markup:
    return Markup(
        '<h1>Set up this clinic</h1><p class="tm-lead">You become its first manager. All of this can be '
        "changed later.</p>"
        '{}<form class="tm-form tm-asked" method="post" action="/set-up"><input type="hidden" name="code" value="{}">'
        '<section class="tm-card"><h2>The clinic</h2>{}</section><section class="tm-card"><h2>You</h2>{}{}{}</section>'
        '<button type="submit" class="tm-button tm-main-action">Set up</button></form>'
    ).format(
        form.top(),
        form.typed.get("code", ""),
        clinic_fields(form, languages),
        form.text("name", "Your name", more=Markup('autocomplete="name"')),
        form.pin("pin", "PIN", "Six digits or more. Nobody else knows it, and it cannot be shown again."),
        form.pin("again", "PIN once more"),
    )


def _zone_of_this_machine() -> str:
    """Its IANA name, "" where it cannot be told or says nothing of the place."""
    _, found, zone = str(Path("/etc/localtime").resolve()).partition(_ZONES)
    return zone if found and "/" in zone and not zone.startswith("Etc/") else ""


def _over(done: bool) -> Markup:
    told = (
        "This clinic is set up already. Sign in with your name and PIN."
        if done
        else "This link was used, is older than a day or never was. Look at the window in which the server was "
        "started; "
        "start it again for a new link."
    )
    return Markup(
        '<h1>Set up</h1><p class="tm-lead">{}</p><p><a class="tm-button" href="/">To the front</a></p>'
    ).format(told)
