"""Who may come in through which page or route: the one guard of all of them.

A page says who may by `page(path, may=ROLES)`, a route by `door(ROLES)`. Whoever is not signed in is led to /sign-in
and back; whoever is, but may not, is told so and can change person. What happens on an open page is looked at again,
each time: a session may have ended since the page was made.
"""

from collections.abc import Callable, Coroutine
from functools import wraps
from typing import Any
from urllib.parse import quote

from fastapi import HTTPException, Request
from fastapi.responses import RedirectResponse
from markupsafe import Markup
from nicegui import context, ui
from nicegui.client import Client

from chairapp.clinic import MANAGER, ClinicDocument, Person, Roles
from chairapp.elements.frame import Frame, html
from chairapp.people.callers import Callers
from chairapp.people.sessions import Sessions

__all__ = ["Doors", "local_path", "sign_in_at"]

Note = Callable[[Person, str], None]
_LOOK_AGAIN_S = 10.0
_MANAGERS_ROOMS = ("/audit", "/people", "/tablets")


class Doors:
    """`cookie` names the one a session is in. `demo`: whoever is not signed in comes in as that room's invented person.

    `frame` and `noted`, which keeps in the access log what a person did, are set before the first page is asked for.
    """

    def __init__(self, clinic: Callable[[], ClinicDocument], sessions: Sessions, cookie: str, *, demo: bool) -> None:
        self._clinic = clinic
        self.sessions = sessions
        self.cookie = cookie
        self._demo = demo
        self.tries = Callers()
        self.frame: Callable[[], Frame]
        self.noted: Note
        self.declared: dict[str, Roles] = {}
        """The pages, each with who may come in."""

    def page(self, path: str, *, may: Roles) -> Callable[..., Any]:
        self.declared[path] = may

        def decorate(builder: Callable[..., Any]) -> Any:
            @wraps(builder)
            def guarded(*args: Any, **given: Any) -> Any:
                client = context.client
                person = self.who(client.request)
                if may is not None and person is None:
                    return RedirectResponse(sign_in_at(_address(client.request)), 303)
                if may is not None and person and person.role not in may:
                    return self._refuse(client, person)
                self._watch(client, may)
                return builder(*args, **given)

            return ui.page(path)(guarded)

        return decorate

    def door(self, may: Roles) -> Callable[..., Coroutine[Any, Any, Person]]:
        async def let_in(request: Request) -> Person:
            person = self.who(request)
            if person is None and self._demo:
                person = self._invented(may)
            if person is None:
                raise HTTPException(303, headers={"Location": sign_in_at("/")})
            if may is not None and person.role not in may:
                raise HTTPException(403, f"This is not for {person.name} ({person.role}).")
            return person

        let_in.may = may  # type: ignore[attr-defined]
        return let_in

    def person(self) -> Person | None:
        """Who is signed in to the page that is being made, or whose event is handled."""
        try:
            request = context.client.request
        except RuntimeError:
            return None
        return self.who(request)

    def note(self, what: str) -> None:
        """Keep in the access log what whoever is signed in here did."""
        if person := self.person():
            self.noted(person, what)

    def who(self, request: Request, *, used: bool = True) -> Person | None:
        person = self.sessions.person(request.cookies.get(self.cookie), used=used)
        if person is None and self._demo:
            rooms = request.url.path.startswith(_MANAGERS_ROOMS)
            return self._invented(MANAGER if rooms else frozenset(("assistant",)))
        return person

    def _invented(self, may: Roles) -> Person | None:
        clinic = self._clinic()
        staff = clinic.present if clinic.invented else []
        return next((person for person in staff if may is None or person.role in may), None)

    def _watch(self, client: Client, may: Roles) -> None:
        """Take no event of this page once whoever it was made for may not come in any more, and lead away from it."""
        if may is None:
            return
        request, take = client.request, client.handle_event

        def may_still(*, used: bool) -> bool:
            person = self.who(request, used=used)
            return person is not None and person.role in may

        def lead_away() -> None:
            client.open(sign_in_at(_address(request)))

        def guarded(message: dict[str, Any]) -> None:
            if may_still(used=True):
                take(message)
            else:
                lead_away()

        def look() -> None:
            if not may_still(used=False):
                timer.cancel()
                lead_away()

        client.handle_event = guarded  # type: ignore[method-assign, assignment]
        timer = ui.timer(_LOOK_AGAIN_S, look, immediate=False)

    def _refuse(self, client: Client, person: Person) -> None:
        client.status_code = 403
        with self.frame().page("Not for you"):
            html(
                Markup(
                    '<h1>This page is not for you</h1><p class="tm-lead">{} is signed in, {}. Somebody else may look '
                    'here.</p><div class="tm-buttons"><a class="tm-button" href="{}">Change person</a>'
                    '<a class="tm-button" href="/">To the front</a></div>'
                ).format(person.name, person.role, sign_in_at(_address(client.request)))
            )


def sign_in_at(then: str) -> str:
    return f"/sign-in?then={quote(then)}"


def local_path(text: str) -> str:
    """A path on this very node; the front where it is none."""
    plain = text.isprintable() and "\\" not in text
    return text if plain and text.startswith("/") and not text.startswith("//") else "/"


def _address(request: Request) -> str:
    return request.url.path + (f"?{request.url.query}" if request.url.query else "")
