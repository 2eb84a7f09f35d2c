"""A chair node and its clinic server, both real, in one process, with a wire that can be cut."""

import asyncio
import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import httpx
import pytest
from fastapi import FastAPI

from sync.access import FileDevices
from sync.blobs import FolderBlobs
from sync.entry import Entry, Refusal
from sync.errors import HopError
from sync.forward import Forward
from sync.routes import routes
from sync.sql_store import SqlStore
from sync.store import Store
from sync.tiny_store import TinyStore

if TYPE_CHECKING:
    from tests.sync.conftest import Clock, Maker

URL = "http://clinic.invalid"


class Wire(httpx.AsyncBaseTransport):
    """Carries requests to an app; cut before a request (`down`), or after so many answers were lost or given."""

    def __init__(self) -> None:
        self.app: FastAPI | None = None
        self.down = False
        self.cut_after: int | None = None
        self.lose_answers = False
        self.asked: list[tuple[str, str, bytes]] = []
        self.answer: httpx.Response | None = None

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        if self.cut_after is not None and self.cut_after <= 0:
            self.down = True
        if self.down or self.app is None:
            raise httpx.ConnectError("Connection refused")
        if self.cut_after is not None:
            self.cut_after -= 1
        self.asked.append((request.method, request.url.path, await request.aread()))
        if self.answer:
            return self.answer
        answer = await httpx.ASGITransport(self.app).handle_async_request(request)
        if self.lose_answers:
            raise httpx.ReadTimeout("timed out")
        return answer

    def mend(self) -> None:
        self.down, self.cut_after, self.lose_answers, self.answer = False, None, False, None
        self.asked.clear()

    @property
    def bodies(self) -> list[dict[str, Any]]:
        return [json.loads(body) for method, _, body in self.asked if method == "POST"]

    @property
    def sent(self) -> list[str]:
        return [entry["id"] for body in self.bodies for entry in body["entries"]]


class Clinic:
    """A clinic server over an SQLite store that can be replaced by another or by an older one."""

    def __init__(self, folder: Path, clock: "Clock") -> None:
        self.folder = folder
        self.clock = clock
        self.wire = Wire()
        self.devices = FileDevices(folder / "devices.json")
        self.refuse: set[str] = set()
        self.states: dict[str, str] = {}
        self.open("clinic.sqlite")

    def open(self, name: str) -> None:
        self.store = SqlStore(f"sqlite:///{self.folder}/{name}", now=self.clock)
        app = FastAPI()
        app.include_router(routes(self.store, self.devices, self._check, state=self._state, now=self.clock))
        self.wire.app = app

    def node(self, store: Store, **how: Any) -> Forward:
        _, token = self.devices.add("node", "Bag", "M")
        return Forward(store, URL, token, client=httpx.AsyncClient(transport=self.wire), now=self.clock, **how)

    @property
    def feed(self) -> list[Entry]:
        return self.store.since(None, 100_000).entries

    def _check(self, entry: Entry) -> Refusal | None:
        return Refusal("item", "there is no such item") if entry["id"] in self.refuse else None

    def _state(self, entries: list[Entry]) -> str:
        return self.states.get(entries[0]["visit"], "open")


class Nodes:
    """A chair node and its clinic server in one process, both with attachments, and the wire between them."""

    state: Callable[[list[Entry]], str] | None = None

    def __init__(self, folder: Path, clock: "Clock") -> None:
        self.folder, self.clock, self.wire = folder, clock, Wire()
        self.devices = FileDevices(folder / "devices.json")
        self.chair = TinyStore(folder / "chair", now=clock)
        self.chair_blobs = FolderBlobs(folder / "chair" / "blobs")
        self.open_clinic("first")
        _, self.token = self.devices.add("node", "Bag", "")

    def open_clinic(self, name: str) -> None:
        self.clinic = SqlStore(f"sqlite:///{self.folder}/{name}.sqlite", now=self.clock)
        self.blobs = FolderBlobs(self.folder / name)
        self.wire.app = FastAPI()
        self.wire.app.include_router(
            routes(self.clinic, self.devices, blobs=self.blobs, state=self.state, now=self.clock)
        )

    def once(self) -> None:
        asyncio.run(self.forward().once())

    def forward(self) -> Forward:
        """The hop of a node that was just started."""
        client = httpx.AsyncClient(transport=self.wire)
        return Forward(
            self.chair, URL, self.token, blobs=self.chair_blobs, client=client, now=self.clock, compress=True
        )

    def attach(self, maker: "Maker", data: bytes) -> Entry:
        """An entry that names an attachment, whose bytes are not here yet."""
        value = {"sha256": hashlib.sha256(data).hexdigest(), "type": "image/png", "bytes": len(data)}
        entry = maker.stamper.entry(maker.visit, "attachment", author="staff-1", item="photo", value=value)
        self.chair.add([entry])
        return entry

    def put(self, data: bytes) -> str:
        name = hashlib.sha256(data).hexdigest()
        self.chair_blobs.put(name, data)
        return name

    @property
    def puts(self) -> list[str]:
        return [path.rpartition("/")[2] for method, path, _ in self.wire.asked if method == "PUT"]

    def close(self) -> None:
        self.chair.close()
        self.clinic.close()


def once(*nodes: Forward) -> None:
    async def rounds() -> None:
        for node in nodes:
            await node.once()

    asyncio.run(rounds())


def fails(node: Forward) -> HopError:
    with pytest.raises(HopError) as failed:
        once(node)
    return failed.value
