"""Which pages are looks at a visit: whoever they are built for goes to the access log.

One table by path, so that the pages themselves know nothing of it and none is forgotten: a test walks all routes.
"""

import asyncio
from collections.abc import Callable, Iterator
from functools import wraps
from inspect import isawaitable
from typing import Any

from chairapp.box.code import plain
from chairapp.clinic import Person, Roles
from chairapp.elements.frame import Page
from chairapp.node.access_log import AccessLog
from chairapp.register import Register

__all__ = ["LOOKS", "noting"]

LOOKS = {
    "/audit/{visit}": "looked at a visit",
    "/audit/retention/{visit}": "looked at what to erase of a visit",
    "/B/{code}": "looked at a box",
    "/b/{code}": "looked at a box",
    "/B/{code}/outcome": "looked at a try-in",
    "/B/{code}/packing": "looked at the packing of a box",
    "/B/{code}/prescription": "looked at a prescription",
    "/label/{code}": "looked at a label",
}


def noting(page: Page, person: Callable[[], Person | None], log: AccessLog, register: Register) -> Page:
    """The same `page`, but pages of `LOOKS` are noted once for every visit they show.

    A page is built only when its guard let somebody in, so nobody is noted who was sent away.
    """

    def noted_page(path: str, *, may: Roles) -> Callable[..., Any]:
        guarded = page(path, may=may)
        return _noting(guarded, path) if path in LOOKS else guarded

    def _noting(guarded: Callable[..., Any], path: str) -> Callable[..., Any]:
        name = path[path.index("{") + 1 : path.index("}")]

        def decorate(builder: Callable[..., Any]) -> Any:
            @wraps(builder)
            async def build(*args: Any, **given: Any) -> Any:
                # Asked here: who is signed in is known to the task of the page only.
                await asyncio.to_thread(note, person(), LOOKS[path], str(given[name]))
                made = builder(*args, **given)
                return await made if isawaitable(made) else made

            return guarded(build)

        return decorate

    def note(who: Person | None, what: str, named: str) -> None:
        for visit in _visits(register, named):
            log.note(who.id if who else "", who.role if who else "", what, visit)

    return noted_page


def _visits(register: Register, named: str) -> Iterator[str]:
    """The visit of this id, or those of this box code; none for what nobody has, which shows nothing."""
    if line := register.line(named):
        yield line.visit
    else:
        yield from (line.visit for line in register.with_code(plain(named)))
