"""The hop over real HTTP on loopback, token, checks and chain included, to a clinic server in its own process."""

import asyncio
import json
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import httpx

from bench import Row
from bench.save import Maker
from sync.access import FileDevices
from sync.entry import canonical
from sync.forward import Forward
from sync.sql_store import SqlStore
from sync.tiny_store import TinyStore

ENTRIES = 10_000
BATCH = 500
SINGLES = 200

SERVER = """
import sys, uvicorn
from fastapi import FastAPI
from sync.access import FileDevices
from sync.routes import routes
from sync.sql_store import SqlStore
folder, port = sys.argv[1], int(sys.argv[2])
app = FastAPI()
app.get("/ping")(lambda: {})
app.include_router(routes(SqlStore(f"sqlite:///{folder}/clinic.sqlite"), FileDevices(f"{folder}/devices.json")))
uvicorn.run(app, host="127.0.0.1", port=port, log_level="error")
"""


def run() -> list[Row]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _, token = FileDevices(folder / "devices.json").add("node", "Bag", "K")
        port = _free_port()
        root = str(Path(__file__).parents[1])
        server = subprocess.Popen([sys.executable, "-c", SERVER, name, str(port)], cwd=root)
        try:
            url = f"http://127.0.0.1:{port}"
            _wait_for(url)
            return asyncio.run(_measured(folder, url, token))
        finally:
            server.terminate()
            server.wait()


async def _measured(folder: Path, url: str, token: str) -> list[Row]:
    maker = Maker()
    chair, store = TinyStore(folder / "chair"), SqlStore(f"sqlite:///{folder}/alone.sqlite")
    batches = [[maker.next() for _ in range(BATCH)] for _ in range(ENTRIES // BATCH)]
    for batch in batches:
        chair.add(batch)
    sent: list[int] = []

    async def weigh(request: httpx.Request) -> None:
        sent.append(len(request.content))

    client = httpx.AsyncClient(event_hooks={"request": [weigh]}, trust_env=False, timeout=60)
    pushed = await _seconds(Forward(chair, url, token, client=client).once)
    wire = sum(sent) / sum(len(canonical(entry)) for batch in batches for entry in batch)
    alone = time.perf_counter()
    for batch in batches:
        store.add(batch)
    alone = time.perf_counter() - alone
    one, ping = await _singles(client, url, token, maker)
    await client.aclose()
    chair.close()
    store.close()
    return [
        Row(f"into the store alone, batch {BATCH}", ENTRIES / alone, "entries/s"),
        Row("through the hop, both ends", ENTRIES / pushed, "entries/s", pushed / alone, "time of the store alone"),
        Row("bytes on the wire", sum(sent) / 1e6, "MB", wire, "entries as JSON", "<= 1.1"),
        Row("ping", ping, "ms"),
        Row("one entry handed in", one, "ms", one / ping, "ping", "<= 6"),
    ]


async def _singles(client: httpx.AsyncClient, url: str, token: str, maker: Maker) -> tuple[float, float]:
    """Medians (ms) of handing in one entry and of a call that does nothing, in turns."""
    headers = {"Authorization": f"Bearer {token}"}
    ones: list[float] = []
    pings: list[float] = []
    for _ in range(SINGLES):
        body = json.dumps({"entries": [maker.next()]}).encode()
        ones.append(await _seconds(lambda body=body: client.post(f"{url}/sync/entries", content=body, headers=headers)))
        pings.append(await _seconds(lambda: client.get(f"{url}/ping")))
    return statistics.median(ones) * 1000, statistics.median(pings) * 1000


async def _seconds(call: Callable[[], object]) -> float:
    began = time.perf_counter()
    await call()  # type: ignore[misc]
    return time.perf_counter() - began


def _free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


def _wait_for(url: str) -> None:
    for _ in range(200):
        try:
            httpx.get(f"{url}/ping", trust_env=False)
            return
        except httpx.HTTPError:
            time.sleep(0.05)
    raise TimeoutError(f"{url} did not come up.")
