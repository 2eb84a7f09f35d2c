"""Where a node serves the tablet page: `/chair`, its release, its files and its service worker."""

import json
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from importlib.resources import files as resources
from typing import Any

from fastapi import APIRouter, FastAPI, Request, Response
from starlette.routing import Mount

from chairapp.tablet.errors import ReleaseError
from chairapp.tablet.files import FOLDER, File, Files
from chairapp.tablet.icons import svg
from chairapp.tablet.page import Author, page
from chairapp.tablet.release import PAGE, Release, build_release

__all__ = ["add_tablet"]

_FOR_EVER = "public, max-age=31536000, immutable"
_ASK_FIRST = "no-cache"
_NEVER = "no-store"


def add_tablet(app: FastAPI, *, author: Author | None = None, retired: bool = False, reach: Sequence[str] = ()) -> None:
    """Serve the tablet page on this app. Call it before `ui.run_with(app)`, whose catch-all takes what comes after.

    The release is built when the app starts, after NiceGUI has started; a page that cannot be frozen stops the node
    with a TabletError. `author` is `chairapp.elements.chair` when it is not given. `retired` takes the service worker
    back from every tablet that comes by: the page then works only while connected. `reach` are the origins besides its
    own that the page may hand in to.
    """
    if any(isinstance(route, Mount) and route.path == "" for route in app.routes):
        raise ReleaseError("add_tablet must be called before ui.run_with")
    shelf = _Shelf(author, retired, reach)
    app.include_router(shelf.router())
    started = app.router.lifespan_context

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[Any]:
        async with started(app) as state:
            await shelf.fill()
            yield state

    app.router.lifespan_context = lifespan


class _Shelf:
    """The release that is served, from memory."""

    def __init__(self, author: Author | None, retired: bool, reach: Sequence[str]) -> None:
        self._author = author
        self._retired = retired
        self._reach = reach
        self._release: Release | None = None

    async def fill(self) -> None:
        files = Files()
        no_socket = files.add("no_socket.js", _own("no_socket.js"))
        self._release = await build_release(page(self._author or _chair(), files), files, no_socket, self._reach)

    @property
    def release(self) -> Release:
        if self._release is None:
            raise ReleaseError("the release is not built yet")
        return self._release

    def router(self) -> APIRouter:
        router = APIRouter(include_in_schema=False)
        for path, answer in (
            (PAGE, self._page),
            (f"{PAGE}/release.json", self._manifest),
            (FOLDER + "{path:path}", self._file),
            ("/sw.js", self._service_worker),
        ):
            router.add_api_route(path, answer, methods=["GET", "HEAD"])
        return router

    async def _page(self, request: Request) -> Response:
        return _served(self.release.page, request, _ASK_FIRST)

    async def _manifest(self) -> Response:
        return _json(self.release.manifest)

    async def _file(self, path: str, request: Request) -> Response:
        file = self.release.files.get(FOLDER + path)
        if file is None:
            error = {"field": "path", "why": "This file is not of the present release.", "do": "Load the page again."}
            return _json({"error": error}, status=404)
        return _served(file, request, _FOR_EVER)

    async def _service_worker(self) -> Response:
        name = "sw_retired.js" if self._retired else "sw.js"
        page = _own("connect_once.html").replace("{{ mark }}", svg())
        body = _own(name).replace("{{ connect_once }}", page.replace("\\", "\\\\").replace("`", "\\`"))
        return Response(body, media_type="text/javascript", headers={"Cache-Control": _ASK_FIRST})


def _chair() -> Author:
    from chairapp.elements import chair

    return Author(chair.build, chair.words)


def _served(file: File, request: Request, cache: str) -> Response:
    etag = f'"{file.sha256[:32]}"'
    headers = {**file.headers, "Cache-Control": cache, "ETag": etag, "Vary": "Accept-Encoding"}
    if etag in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    body = file.body
    if file.packed and "gzip" in request.headers.get("accept-encoding", ""):
        body = file.packed
        headers["Content-Encoding"] = "gzip"
    return Response(body, media_type=file.media, headers=headers)


def _json(value: object, status: int = 200) -> Response:
    body = json.dumps(value)
    return Response(body, status, media_type="application/json", headers={"Cache-Control": _NEVER})


def _own(name: str) -> str:
    return (resources("chairapp.tablet") / name).read_text("utf-8")
