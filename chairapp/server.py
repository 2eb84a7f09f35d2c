"""Puts a node together: its store, its side of the hop, its pages. One process is one node."""

import asyncio
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from functools import partial
from typing import Any
from urllib.parse import urlsplit

import uvicorn
from fastapi import FastAPI, Response
from fastapi.responses import JSONResponse
from markupsafe import Markup
from nicegui import ui

from chairapp.audit.pages import add_audit_pages
from chairapp.box.code import ALPHABET
from chairapp.box.pages import add_box_pages
from chairapp.clinic import CLINIC_VISIT
from chairapp.elements import chair
from chairapp.elements.frame import Frame
from chairapp.home import add_home
from chairapp.lost import add_lost_pages
from chairapp.node.access_log import AccessLog
from chairapp.node.addresses import Addresses, address_routes, all_names_of
from chairapp.node.auditing import Auditing
from chairapp.node.book import book_of, keep_hearing
from chairapp.node.desk import desk_of
from chairapp.node.documents import document_routes
from chairapp.node.errors import ClinicAway, NodeError, PortTaken
from chairapp.node.exporting import add_exports
from chairapp.node.folder import Folder
from chairapp.node.log import log
from chairapp.node.looks import noting
from chairapp.node.membership import Membership
from chairapp.node.node import Node, open_store
from chairapp.node.peopling import add_people_pages
from chairapp.node.purging import keep_purging
from chairapp.node.removed import removed_routes, take_removed
from chairapp.node.settings import Settings, is_loopback
from chairapp.people.callers import Callers
from chairapp.people.demo import DEMO_PIN, demo_clinic
from chairapp.people.doors import Doors
from chairapp.people.enrol import enrol_routes
from chairapp.people.pairing import Pairing, PairingRefused, PairingRequest, pair_route
from chairapp.people.pairing_codes import PairingCodes
from chairapp.people.pin_routes import pin_routes
from chairapp.people.pins import Pins
from chairapp.people.safe import safe_of
from chairapp.people.sessions import Sessions
from chairapp.people.sign_in import add_sign_in, sign_in_routes
from chairapp.running.health import card, health_route
from chairapp.running.retention import Retention
from chairapp.running.retention_page import add_retention, retention_routes
from chairapp.running.running import Running
from chairapp.sequence import document, jaw_relation
from chairapp.sequence.override import load_override
from chairapp.tablet import Author, add_tablet
from chairapp.tablet.icons import svg
from chairapp.visit import stage
from chairapp.web.guard import Guard
from chairapp.web.limits import Limits
from sync.access import Device
from sync.cors import Cors
from sync.forward import Forward
from sync.heard import Hearing
from sync.purge import Purge
from sync.routes import routes
from sync.tiny_store import TinyStore

__all__ = ["make_app", "serve"]

_PULL_EVERY = 20.0
_NO_CLINIC = {"clinic": "Not set up yet", "chair": "Waiting for the clinic server"}
_HOW_TO_BEGIN = {
    "clinic": "This clinic is not set up yet. Look at the window in which the server was started: a link is in it.",
    "chair": "This node has not reached its clinic server yet. Start the clinic server, then load this page again.",
}
Doc = dict[str, Any]


def serve(settings: Settings, folder: Folder) -> None:
    """Run the node until it is told to stop (Ctrl-C, SIGTERM). Raises PortTaken, and what `make_app` raises."""
    listening = _listen(settings)
    app = make_app(settings, folder)
    config = uvicorn.Config(
        app,
        log_config=None,
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=3,
        # Anybody can write who a request was forwarded for, and by which scheme.
        proxy_headers=False,
        ws_max_size=1024 * 1024,
    )
    log("node.listening", role=settings.role, host=settings.host, port=settings.port)
    if settings.role == "clinic":
        _say_how_to_begin(app.state.set_up.link(folder.node, settings.address))
    uvicorn.Server(config).run(sockets=[listening])


def _say_how_to_begin(link: str | None) -> None:
    """On the window in which the server was started, and nowhere else: not in the log."""
    if link:
        print("This clinic is not set up yet. Its manager opens this link, once, within a day:", flush=True)
        print(f"  {link}", flush=True)


def make_app(settings: Settings, folder: Folder) -> FastAPI:
    """The node as an application. Opens its store for writing: one per data folder.

    Raises SyncError (store in use, broken), ClinicError (clinic.json), InputError (the override file).
    """
    node = Node(settings, folder, open_store(folder, settings.store))
    safe = safe_of(node.store, folder.keys / "people.json")
    pins = Pins(safe, node.clinic)
    sessions = Sessions(safe, pins, node.clinic, settings.idle_minutes)
    if settings.role == "chair":
        assert settings.clinic is not None  # noqa: S101 - read_settings refuses a chair node without
        side: _Chair | _Clinic = _Chair(node, settings.clinic, pins)
    else:
        side = _Clinic(node, settings, pins, PairingCodes(safe))
    node.device = side.device
    running = Running(node)
    tries = Callers()
    app = FastAPI(title="Threemark", docs_url=None, redoc_url=None, lifespan=_together(side.life, running.life))
    app.state.devices = node.devices
    callers = Hearing(node.devices, node.store) if settings.role == "clinic" else node.devices
    app.include_router(routes(node.store, callers, node.check, blobs=node.blobs, state=stage))
    app.include_router(document_routes(node.documents, node.devices))
    app.include_router(pair_route(side.pair, is_loopback, tries))
    app.include_router(
        enrol_routes(
            node.devices,
            pins.check,
            node.keys,
            lambda key, author: node.write(CLINIC_VISIT, "key", "key", key, author),
        )
    )
    if isinstance(side, _Clinic):
        app.include_router(address_routes(side.addresses, node.devices))
        app.include_router(pin_routes(pins, node.devices))
        app.include_router(removed_routes(node.devices))
    app.add_api_route("/ready", _ready(node), include_in_schema=False)
    app.include_router(health_route(settings.role, running.concerns))
    doors = app.state.doors = _add_pages(
        app, node, side.audit, pins, sessions, running, side.auditing if isinstance(side, _Clinic) else None
    )
    if isinstance(side, _Clinic):
        app.state.set_up = add_people_pages(
            app, node, doors, side.book, side.sequence, safe, pins, side.codes, side.addresses
        )
        app.state.pairing_codes = side.codes
    # A page's policy cannot name an address of IPv6.
    chair_page = Author(chair.build, lambda: chair.words(DEMO_PIN))
    add_tablet(app, author=chair_page, reach=sorted(origin for origin in side.origins() if "[" not in origin))
    # A minute: taps made while a laptop sleeps or the network blinks still arrive.
    ui.run_with(
        app,
        title="Threemark",
        favicon=svg(),
        language="en-US",
        tailwind=False,
        reconnect_timeout=60,
        show_welcome_message=False,
    )
    app.add_middleware(Cors, origins=side.origins)
    app.add_middleware(Limits)
    app.add_middleware(Guard)
    return app


def _together(
    serving: Callable[[FastAPI], AbstractAsyncContextManager[None]],
    watching: Callable[[], AbstractAsyncContextManager[None]],
) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    """What watches over a node begins after what it serves with, and ends before the store is closed."""

    @asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        async with serving(app), watching():
            yield

    return life


def _add_pages(
    app: FastAPI,
    node: Node,
    audit: str,
    pins: Pins,
    sessions: Sessions,
    running: Running,
    auditing: Auditing | None,
) -> Doors:
    desk = desk_of(node)
    doors = Doors(node.clinic, sessions, f"threemark-{node.settings.role}", demo=node.settings.demo)
    frame = doors.frame = _frame_of(node, audit, doors)
    accessed = AccessLog(node.folder.path / "log", node.settings.access_days)
    page = noting(doors.page, doors.person, accessed, node.register)
    first = _HOW_TO_BEGIN[node.settings.role]
    add_home(
        doors.page, frame, audit, lambda: "" if node.documents.clinic() else first, lambda: card(running.concerns())
    )
    add_lost_pages(app, frame, (NodeError,))
    add_sign_in(doors.page, frame, node.clinic, DEMO_PIN)
    doors.noted = lambda who, what: accessed.note(who.id, who.role, what)
    app.include_router(sign_in_routes(doors, pins))
    add_box_pages(page, frame, desk)
    if auditing:
        add_exports(app, node, accessed, doors.page, doors.door, frame)
        retention = Retention(node, node.settings.retention_days)
        add_retention(page, frame, retention)
        noted = partial(accessed.note, must=True)
        app.include_router(retention_routes(doors, retention, noted))
        add_audit_pages(page, frame, auditing.sources())
    return doors


def _ready(node: Node) -> Callable[[], Response]:
    """Whether the node can work: it knows its clinic. Says how many visits it holds, nothing of them."""

    def ready() -> Response:
        known = node.documents.clinic() is not None
        return JSONResponse({"ready": known, "visits": len(node.register)}, 200 if known else 503)

    return ready


def _frame_of(node: Node, audit: str, doors: Doors) -> Callable[[], Frame]:
    ways: tuple[tuple[str, str], ...] = (
        ("/chair", "Walk a visit"),
        ("/label", "Label a box"),
        ("/boxes", "Boxes"),
        (audit, "Audit"),
    )
    managers = (("/people", "People"), ("/tablets", "Tablets")) if node.settings.role == "clinic" else ()
    mark = Markup(svg())  # noqa: S704 - drawn by us
    name = "Clinic server" if node.settings.role == "clinic" else "Chair node"
    pin = f"{node.settings.clinic or ''}/pin"

    def frame() -> Frame:
        clinic = node.documents.clinic()
        if clinic is None:
            return Frame(name, _NO_CLINIC[node.settings.role], False, (), mark)
        person = doors.person()
        mine = ways + managers if person and person.role == "manager" else ways
        return Frame(name, clinic.clinic, clinic.invented, mine, mark, person, pin)

    return frame


def _listen(settings: Settings) -> socket.socket:
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((settings.host.strip("[]"), settings.port))
        listening.listen()
    except OSError as error:
        listening.close()
        why = "another program listens there" if error.errno == 98 else (error.strerror or "it cannot be used")
        raise PortTaken(f"--port {settings.port}: {why}, choose another port") from None
    return listening


class _Clinic:
    """The clinic server's side: it owns the documents and hands out identities."""

    audit = "/audit"

    def __init__(self, node: Node, settings: Settings, pins: Pins, codes: PairingCodes) -> None:
        self._node = node
        self.codes = codes
        node.device = self.device
        sequence = load_override(settings.sequence) if settings.sequence else document(jaw_relation())
        self.sequence = node.documents.keep_sequence(sequence)
        invented = demo_clinic(self.sequence, f"{settings.host}:{settings.port}") if settings.demo else None
        self.book = book_of(node, self.sequence, invented)
        clinic = self.book.document()
        if clinic and clinic.invented:
            pins.set_all([person.id for person in clinic.staff if not pins.has(person.id)], DEMO_PIN)
        self.auditing = Auditing(node)
        self.pair = Pairing(node.devices, node.clinic, ALPHABET, lambda code: codes.use(code) if code else self._open())
        self.addresses = Addresses(node.folder.keys / "addresses.json", node.devices)
        self.origins = self.addresses.origins

    def device(self) -> str:
        return self._node.folder.node

    def _open(self) -> bool:
        """Whether a device is paired without a code: in a demonstration, of invented people only."""
        return self._node.settings.demo and self._node.clinic().invented

    @asynccontextmanager
    async def life(self, _: FastAPI) -> AsyncIterator[None]:
        self.auditing.begin()
        hearing = asyncio.create_task(keep_hearing(self._node, self.book))
        try:
            yield
        finally:
            hearing.cancel()
            await asyncio.wait([hearing])
            await self.auditing.end()
            self._node.store.close()


class _Chair:
    """A chair node's side: it belongs to a clinic server, survives its absence, and forwards what it holds."""

    def __init__(self, node: Node, clinic: str, pins: Pins) -> None:
        self._node = node
        self._clinic = clinic
        self.audit = f"{clinic}/audit"
        name = f"Chair node {node.folder.node[:8]}"
        own = node.settings.address
        self._membership = Membership(
            node.folder,
            clinic,
            node.documents,
            name,
            self._sequences,
            own,
            pins.take,
            node.settings.pair,
            lambda removed: take_removed(node.devices, removed),
        )
        self._forward: Forward | None = None
        self._purging: asyncio.Task[None] | None = None

    def device(self) -> str | None:
        return self._membership.device

    def origins(self) -> set[str]:
        """Pages of its clinic server may call here."""
        return all_names_of([self._clinic])

    async def pair(self, asked: PairingRequest, _: str | None) -> Doc:
        """Pass it on to the clinic server, and know the device here too."""
        try:
            answer = await self._membership.pair(asked)
        except ClinicAway as away:
            raise PairingRefused(503, "", f"{away}, and it alone can pair", "start it, then pair again") from away
        device = Device(answer["device"], asked.kind, answer["letter"], asked.name)
        await asyncio.to_thread(self._node.devices.adopt, device, answer["token"])
        return answer

    @asynccontextmanager
    async def life(self, _: FastAPI) -> AsyncIterator[None]:
        keeping = asyncio.create_task(self._membership.keep_up(self._joined, _PULL_EVERY))
        try:
            yield
        finally:
            keeping.cancel()
            if self._purging:
                self._purging.cancel()
            if self._forward:
                await self._forward.stop()
            await self._membership.close()
            self._node.store.close()

    async def _joined(self, token: str) -> None:
        # On one machine packing costs more time than it saves.
        compress = not is_loopback(urlsplit(self._clinic).hostname or "")
        self._forward = Forward(self._node.store, self._clinic, token, blobs=self._node.blobs, compress=compress)
        self._forward.start()
        assert isinstance(self._node.store, TinyStore)  # noqa: S101 - what `open_store` gives a chair node
        purge = Purge(self._node.store, stage, self._node.settings.keep_days, blobs=self._node.blobs)
        self._purging = asyncio.create_task(keep_purging(self._forward, purge, self._node.register.begin_again))

    def _sequences(self) -> set[str]:
        return {line.sequence for line in self._node.register.lines()}
