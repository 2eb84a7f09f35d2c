"""/pin: a person changes their own PIN; /pin/new: chooses one by a one-time link that the manager made."""

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response
from markupsafe import Markup

from chairapp.clinic import ANYONE, STAFF, ClinicDocument, Person
from chairapp.elements.frame import Frame, Page, html
from chairapp.people.callers import caller_of
from chairapp.people.doors import Doors
from chairapp.people.errors import NobodyHere, PinLocked, WrongPin
from chairapp.people.form import Form, page_of, see, typed_in, wait_first
from chairapp.people.links import Links
from chairapp.people.pins import Pins
from chairapp.people.sign_in import signed_in

__all__ = ["add_pin_pages", "pin_page_routes"]

_OVER = Markup(
    '<h1>Choose a PIN</h1><p class="tm-lead">This link was used, is older than a day or never was. Ask the practice '
    'manager for a new one.</p><p><a class="tm-button" href="/">To the front</a></p>'
)
Clinic = Callable[[], ClinicDocument]


def add_pin_pages(page: Page, frame: Callable[[], Frame], clinic: Clinic, links: Links) -> None:
    @page("/pin", may=STAFF)
    def own() -> None:
        with frame().page("Your PIN"):
            html(_own(Form()))

    @page("/pin/new", may=ANYONE)
    def by_link(code: str = "") -> None:
        person = _whose(links.purpose(code), clinic)
        with frame().page("Choose a PIN"):
            html(_new(Form({"code": code}), person) if person else _OVER)


def pin_page_routes(doors: Doors, clinic: Clinic, pins: Pins, links: Links) -> APIRouter:
    router = APIRouter(include_in_schema=False)

    @router.post("/pin")
    async def change(request: Request, person: Annotated[Person, Depends(doors.door(STAFF))]) -> Response:
        form = Form(await typed_in(request))
        if not await run_in_threadpool(_changed, form, person, pins):
            return page_of(request, doors.frame, "Your PIN", "", _own(form))
        await run_in_threadpool(doors.noted, person, "changed the own PIN")
        return await signed_in(doors, request, person, "/")

    @router.post("/pin/new")
    async def choose(request: Request) -> Response:
        if wait := doors.tries.wait(caller_of(request)):
            return wait_first(request, doors.frame, wait)
        form = Form(await typed_in(request))
        code = form.typed.get("code", "")
        person = _whose(await run_in_threadpool(links.purpose, code), clinic)
        form.check_pin()
        if person and form.faults:
            return page_of(request, doors.frame, "Choose a PIN", "", _new(form, person))
        if person is None or await run_in_threadpool(links.use, code) is None:
            doors.tries.wrong(caller_of(request))
            return see("/pin/new")
        await run_in_threadpool(pins.set, person.id, form.typed["pin"])
        await run_in_threadpool(doors.noted, person, "chose a PIN by a link")
        return await signed_in(doors, request, person, "/")

    return router


def _whose(purpose: str | None, clinic: Clinic) -> Person | None:
    person = clinic().person(purpose) if purpose else None
    return person if person and person.active else None


def _changed(form: Form, person: Person, pins: Pins) -> bool:
    """Whether the PIN is another one now; what is wrong is noted in the form. The new one is looked at first."""
    form.check_pin()
    if form.faults:
        return False
    try:
        pins.check(person.id, form.typed.get("old", ""))
    except (WrongPin, PinLocked, NobodyHere) as fault:
        form.faults["old"] = f"PIN until now: {fault.why} {fault.do}"
        return False
    pins.set(person.id, form.typed["pin"])
    return True


def _own(form: Form) -> Markup:
    return Markup(
        '<h1>Your PIN</h1><p class="tm-lead">A new PIN ends your sessions on all other computers. Tablets hear '
        "of it when "
        'they are next online.</p>{}<form class="tm-form tm-asked" method="post" action="/pin">'
        '<section class="tm-card">{}{}{}</section>'
        '<button type="submit" class="tm-button tm-main-action">Change PIN</button></form>'
    ).format(form.top(), form.pin("old", "PIN until now", kind="current-password"), *_twice(form))


def _new(form: Form, person: Person) -> Markup:
    return Markup(
        '<h1>Choose a PIN, {}</h1><p class="tm-lead">You sign in with it on tablets and at these pages.</p>{}'
        '<form class="tm-form tm-asked" method="post" action="/pin/new"><input type="hidden" name="code" value="{}">'
        '<section class="tm-card">{}{}</section>'
        '<button type="submit" class="tm-button tm-main-action">Keep this PIN</button></form>'
    ).format(person.name, form.top(), form.typed.get("code", ""), *_twice(form))


def _twice(form: Form) -> tuple[Markup, Markup]:
    hint = "Six digits or more. Nobody else knows it, and it cannot be shown again."
    return form.pin("pin", "New PIN", hint), form.pin("again", "New PIN once more")
