"""What a page shows when there is none at an address, or when it cannot be made."""

from collections.abc import Callable

from fastapi import FastAPI, Request, Response
from markupsafe import Markup
from nicegui import app, ui
from nicegui.client import Client

from chairapp.elements.frame import Frame, html

__all__ = ["add_lost_pages"]

_SORRY = "Something went wrong while this page was made. What was recorded is safe; try again, or look at the log."


def add_lost_pages(node: FastAPI, frame: Callable[[], Frame], sayable: tuple[type[Exception], ...]) -> None:
    """Pages for 404 and for an exception. Of the `sayable` exceptions the text is shown, of others nothing.

    `node` is the application around the pages: its own routes answer a sayable exception with such a page too.
    """
    files_answer = app.exception_handlers[404]

    @app.exception_handler(404)
    async def nothing_here(request: Request, error: Exception) -> Response:
        if request.url.path.startswith("/_nicegui"):
            answer: Response = await files_answer(request, error)  # type: ignore[misc]
            return answer
        with Client(ui.page(""), request=request) as client, frame().page("Not found"):
            html(_told("There is no such page", "Check the address, or start from the front."))
        return client.build_response(request, 404)

    def broken(error: Exception) -> None:
        with frame().page("Not now"):
            html(_told("Not now", _sentence(error) if isinstance(error, sayable) else _SORRY))

    app.on_page_exception(broken)

    async def not_now(request: Request, error: Exception) -> Response:
        with Client(ui.page(""), request=request) as client:
            broken(error)
        return client.build_response(request, 503)

    for kind in sayable:
        node.add_exception_handler(kind, not_now)


def _sentence(error: Exception) -> str:
    text = str(error)
    return f"{text[:1].upper()}{text[1:]}."


def _told(title: str, sentence: str) -> Markup:
    return Markup('<h1>{}</h1><p class="tm-lead">{}</p><p><a class="tm-button" href="/">To the front</a></p>').format(
        title, sentence
    )
