"""A small node for tests of the hop and the release: a real process with a real store, and faults on order.

    python -m tests.browser.small_node --data DIR --port N [--mark TEXT] [--fault NAME]

`--mark` stands on the page, so that another mark is another release. `--retired` takes the service worker back.
`--finished` calls every visit finished; POST /backed-up says that all it holds is in a backup. Faults:

    die-after-storing   stores the first batch and dies before it answers
    garbled-page        serves the page with other bytes than the manifest says
    garbled-file        the same of a script of the page
    cut-page            breaks the line half way through the page
    cut-entries         breaks the line half way through the entries it sends
    refuses             refuses every entry whose value is "refuse me"
    no-batch            takes a batch that holds such an entry for nonsense as a whole
    wrong-sequence      sends another sequence document than the one asked for
    slow                takes 5 seconds for every call of the hop
"""

import argparse
import asyncio
import json
import os
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from pathlib import Path

import uvicorn
from fastapi import APIRouter, Depends, FastAPI, Request, Response
from fastapi.responses import JSONResponse, StreamingResponse
from nicegui import app as nicegui_app
from nicegui import ui

from chairapp.sequence import digest, document, jaw_relation
from chairapp.tablet import Author, add_tablet
from sync.access import FileDevices, require
from sync.backup import BACKED_UP
from sync.blobs import FolderBlobs
from sync.border import HopRoute
from sync.desk import FINISHED
from sync.entry import Refusal
from sync.routes import routes
from sync.tiny_store import TinyStore
from tests.tablet import stand_in

REFUSED = "refuse me"
FAULTS = (
    "die-after-storing",
    "garbled-page",
    "garbled-file",
    "cut-page",
    "cut-entries",
    "refuses",
    "no-batch",
    "wrong-sequence",
    "slow",
)
SEQUENCE = document(jaw_relation())


def main() -> None:
    asked = _asked()
    asked.data.mkdir(parents=True, exist_ok=True)
    store = TinyStore(asked.data)
    devices = FileDevices(asked.data / "devices.json")
    app = FastAPI(lifespan=_closing(store))
    check = _check if asked.fault == "refuses" else None
    state = (lambda _: FINISHED) if asked.finished else None
    app.include_router(routes(store, devices, check, blobs=FolderBlobs(asked.data / "blobs"), state=state))
    app.post("/backed-up")(
        lambda: store.keep(BACKED_UP, {**store.head()._asdict(), "at": datetime.now(UTC).isoformat()})
    )
    app.include_router(_documents(devices, {"steps": []} if asked.fault == "wrong-sequence" else SEQUENCE))
    app.include_router(_pairing(devices))
    _add_mark(asked.mark)
    add_tablet(app, author=Author(lambda: _build(asked.mark), lambda: "{}"), retired=asked.retired)
    ui.run_with(app, tailwind=False, show_welcome_message=False)
    if asked.fault in _BREAKERS:
        app.middleware("http")(_BREAKERS[asked.fault])
    uvicorn.run(app, host="127.0.0.1", port=asked.port, log_level="warning", access_log=False)


def _backed_up(store: TinyStore) -> None:
    store.keep(BACKED_UP, {**store.head()._asdict(), "at": datetime.now(UTC).isoformat()})


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--mark", default="")
    parser.add_argument("--fault", choices=FAULTS)
    parser.add_argument("--retired", action="store_true")
    parser.add_argument("--finished", action="store_true")
    return parser.parse_args()


def _build(mark):
    ui.add_head_html('<script src="/mark.js"></script>')
    stand_in.build(mark)


def _add_mark(mark):
    """A script of the page that is another one under another mark."""

    @nicegui_app.get("/mark.js")
    def get_mark():
        return Response(f"window.marked = {json.dumps(mark)};", media_type="text/javascript")


def _closing(store):
    @asynccontextmanager
    async def life(_):
        yield
        store.close()

    return life


def _check(entry):
    return Refusal("value", "this value is refused") if entry["value"] == REFUSED else None


def _documents(devices, sequence):
    router = APIRouter(prefix="/sync", route_class=HopRoute, dependencies=[Depends(require(devices))])
    clinic = {"version": 1, "clinic": "Small clinic", "sequence": digest(SEQUENCE), "staff": []}

    @router.get("/clinic")
    def get_clinic(request: Request):
        if request.headers.get("if-none-match") == '"1"':
            return Response(status_code=304, headers={"ETag": '"1"'})
        return JSONResponse(clinic, headers={"ETag": '"1"'})

    @router.get("/sequence/{name}")
    def get_sequence(name: str):
        return JSONResponse(sequence)

    return router


def _pairing(devices):
    router = APIRouter(route_class=HopRoute)

    @router.post("/pair")
    async def pair(request: Request):
        asked = await request.json()
        device, token = devices.add(asked["kind"], asked["name"], "K")
        return {"device": device.id, "letter": device.letter, "token": token, "clinic": {"clinic": "Small clinic"}}

    return router


async def _die_after_storing(request, call_next):
    answer = await call_next(request)
    if request.method == "POST" and request.url.path == "/sync/entries":
        os._exit(9)
    return answer


async def _garbled_page(request, call_next):
    if request.url.path == "/chair":
        return Response("garbled", media_type="text/html")
    return await call_next(request)


async def _garbled_file(request, call_next):
    if request.url.path.endswith("/mark.js"):
        return Response("garbled", media_type="text/javascript")
    return await call_next(request)


async def _cut_page(request, call_next):
    if request.url.path != "/chair":
        return await call_next(request)

    async def half():
        yield b"<!doctype html>"
        raise ConnectionResetError("cut on order")

    return StreamingResponse(half(), media_type="text/html", headers={"Content-Length": "9000"})


async def _cut_entries(request, call_next):
    answer = await call_next(request)
    if request.method != "GET" or request.url.path != "/sync/entries":
        return answer
    whole = b"".join([part async for part in answer.body_iterator])

    async def half():
        yield whole[: len(whole) // 2]
        raise ConnectionResetError("cut on order")

    return StreamingResponse(half(), headers=dict(answer.headers))


async def _no_batch(request, call_next):
    if request.method == "POST" and request.url.path == "/sync/entries" and REFUSED.encode() in await request.body():
        return JSONResponse({"error": {"field": "entries", "why": "this is not a batch", "do": ""}}, 422)
    return await call_next(request)


async def _slow(request, call_next):
    if request.url.path.startswith("/sync/"):
        await asyncio.sleep(5)
    return await call_next(request)


_BREAKERS = {
    "die-after-storing": _die_after_storing,
    "garbled-page": _garbled_page,
    "garbled-file": _garbled_file,
    "cut-page": _cut_page,
    "cut-entries": _cut_entries,
    "no-batch": _no_batch,
    "slow": _slow,
}

if __name__ == "__main__":
    main()
