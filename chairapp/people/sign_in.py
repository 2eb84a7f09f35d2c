"""/sign-in: one's name, then one's PIN; and the routes that begin and end a session."""

from collections.abc import Callable
from importlib.resources import files
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response
from markupsafe import Markup
from nicegui import ui

from chairapp.clinic import ANYONE, ClinicDocument, Person
from chairapp.elements.frame import Frame, Page, html
from chairapp.people.callers import caller_of
from chairapp.people.doors import Doors, local_path
from chairapp.people.errors import NobodyHere, PinLocked, WrongPin
from chairapp.people.form import see
from chairapp.people.pins import Pins
from chairapp.people.roles import ROLE_NAMES
from chairapp.people.sessions import LONGEST_MS

__all__ = ["add_sign_in", "sign_in_routes", "signed_in"]


def add_sign_in(page: Page, frame: Callable[[], Frame], clinic: Callable[[], ClinicDocument], demo_pin: str) -> None:
    """/sign-in; `demo_pin` is shown where all people are invented."""

    @page("/sign-in", may=ANYONE)
    def sign_in(then: str = "/", person: str = "", wrong: str = "", wait: int = 0) -> None:
        known, then = clinic().person(person), local_path(then)
        with frame().page("Sign in"):
            if known is None:
                html(_names(clinic().present, then))
            else:
                html(_pad(known, then, _fault(wrong, wait), demo_pin if clinic().invented else ""))
                ui.add_body_html(f"<script>{(files('chairapp.people') / 'pin_pad.js').read_text('utf-8')}</script>")


def sign_in_routes(doors: Doors, pins: Pins) -> APIRouter:
    """POST /sign-in and POST /sign-out. Each sign-in makes a new token and ends the session there was."""
    router = APIRouter(include_in_schema=False)

    @router.post("/sign-in")
    async def begin(
        request: Request,
        person: Annotated[str, Form(max_length=64)] = "",
        pin: Annotated[str, Form(max_length=64)] = "",
        then: Annotated[str, Form(max_length=2000)] = "/",
    ) -> Response:
        back = {"then": local_path(then), "person": person}
        if wait := doors.tries.wait(caller_of(request)):
            return see(f"/sign-in?{urlencode(back | {'wait': wait})}")
        try:
            found = await run_in_threadpool(pins.check, person, pin)
        except (WrongPin, NobodyHere):
            doors.tries.wrong(caller_of(request))
            return see(f"/sign-in?{urlencode(back | {'wrong': 'pin'})}")
        except PinLocked as locked:
            return see(f"/sign-in?{urlencode(back | {'wait': locked.seconds})}")
        answer = await signed_in(doors, request, found, local_path(then))
        await run_in_threadpool(doors.noted, found, "signed in")
        return answer

    @router.post("/sign-out")
    async def end(request: Request) -> Response:
        await run_in_threadpool(doors.sessions.end, request.cookies.get(doors.cookie))
        answer = see("/sign-in")
        answer.delete_cookie(doors.cookie, httponly=True, samesite="lax")
        return answer

    return router


async def signed_in(doors: Doors, request: Request, person: Person, address: str) -> Response:
    """Begin a session of this person, whose PIN was verified, and lead to a local address."""
    token = await run_in_threadpool(doors.sessions.begin, person.id, request.cookies.get(doors.cookie))
    answer, secure = see(address), request.url.scheme == "https"
    answer.set_cookie(doors.cookie, token, max_age=LONGEST_MS // 1000, httponly=True, samesite="lax", secure=secure)
    return answer


def _names(staff: list[Person], then: str) -> Markup:
    ways = Markup("").join(
        Markup('<a class="tm-button tm-person" href="/sign-in?{}"><strong>{}</strong><span>{}</span></a>').format(
            urlencode({"person": person.id, "then": then}), person.name, ROLE_NAMES[person.role]
        )
        for person in staff
    )
    return Markup('<h1>Who are you?</h1><div class="tm-people">{}</div>').format(ways)


def _fault(wrong: str, wait: int) -> str:
    if wait > 0:
        return f"Too many wrong PINs. Wait {wait} seconds, then try again."
    return "This is not the PIN. Try again." if wrong else ""


def _pad(person: Person, then: str, fault: str, demo_pin: str) -> Markup:
    keys = Markup("").join(Markup('<button type="button" class="tm-key">{}</button>').format(n) for n in "123456789")
    told = Markup('<p class="tm-note tm-off" role="alert">{}</p>').format(fault) if fault else Markup("")
    hint = Markup('<p class="tm-soft tm-pin-hint">The PIN of every invented person is {}.</p>').format(demo_pin)
    return Markup(
        '<h1>{}</h1>{}<form class="tm-pin" method="post" action="/sign-in">'
        '<input type="hidden" name="person" value="{}"><input type="hidden" name="then" value="{}">'
        '<label class="tm-field">PIN<input name="pin" type="password" inputmode="numeric" autocomplete="off" '
        'maxlength="32" required autofocus></label>{}<div class="tm-keys">{}'
        '<button type="button" class="tm-key" data-key="back" aria-label="Take the last digit away">⌫</button>'
        '<button type="button" class="tm-key">0</button><button type="submit" class="tm-key tm-go">Sign in</button>'
        '</div></form><p><a class="tm-button" href="/sign-in?{}">Somebody else</a></p>'
    ).format(person.name, told, person.id, then, hint if demo_pin else "", keys, urlencode({"then": then}))
