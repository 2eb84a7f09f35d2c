"""A slow or silent hop out never holds up the hop in."""

import asyncio
import time
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI

from sync.access import FileDevices
from sync.forward import Forward
from sync.routes import routes
from sync.tiny_store import TinyStore
from tests.sync.conftest import Clock, Maker

SILENCE = 5.0


class Silent(httpx.AsyncBaseTransport):
    """A clinic server that takes every call and never answers."""

    def __init__(self) -> None:
        self.heard = asyncio.Event()

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        await request.aread()
        self.heard.set()
        await asyncio.Event().wait()
        raise AssertionError


@pytest.fixture
def store(tmp_path: Path, clock: Clock):
    store = TinyStore(tmp_path / "chair", now=clock)
    yield store
    store.close()


def test_a_clinic_server_that_never_answers_does_not_hold_up_a_tablet(
    store: TinyStore, tmp_path: Path, clock: Clock, maker: Maker
) -> None:
    """40 entries are handed in, each stored and acknowledged, while one call to the clinic server hangs throughout."""
    devices = FileDevices(tmp_path / "devices.json")
    _, token = devices.add("node", "Chair 1", "")
    app = FastAPI()
    app.include_router(routes(store, devices, now=clock))

    async def handed_in() -> list[float]:
        silent = Silent()
        forward = Forward(store, "http://clinic.invalid", "x", client=httpx.AsyncClient(transport=silent))
        store.add([maker.reading()])
        forward.start()
        await silent.heard.wait()
        headers = {"Authorization": f"Bearer {token}"}
        transport = httpx.ASGITransport(app)
        async with httpx.AsyncClient(transport=transport, base_url="http://chair", headers=headers) as tablet:
            times = [await _seconds(tablet, maker.reading()) for _ in range(40)]
        await forward.stop()
        return times

    times = sorted(asyncio.run(asyncio.wait_for(handed_in(), 60)))
    assert times[20] < 0.1
    assert times[-1] < SILENCE
    assert store.head().position == 41


async def _seconds(tablet: httpx.AsyncClient, entry: dict[str, object]) -> float:
    began = time.perf_counter()
    answer = await tablet.post("/sync/entries", json={"entries": [entry]})
    assert answer.json()["stored"] == [entry["id"]]
    return time.perf_counter() - began
