"""The hop over real HTTP on loopback, token, checks and chain included, to a clinic server in its own process."""

import asyncio
import json
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import httpx

from bench import Row
from bench._clinic import BareDisk, Clinic, running_clinic
from bench.save import Maker
from sync.entry import canonical
from sync.forward import Forward
from sync.sql_store import SqlStore
from sync.tiny_store import TinyStore

ENTRIES = 10_000
BATCH = 500
SINGLES = 200


def run() -> list[Row]:
    with tempfile.TemporaryDirectory() as name, running_clinic(Path(name)) as clinic:
        return asyncio.run(_measured(Path(name), clinic))


async def _measured(folder: Path, clinic: Clinic) -> list[Row]:
    url, token, _ = clinic
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
    one, ping, bare = await _singles(client, url, token, maker, BareDisk(folder))
    await client.aclose()
    chair.close()
    store.close()
    return [
        Row(f"into the store alone, batch {BATCH}", ENTRIES / alone, "entries/s"),
        Row("through the hop, both ends", ENTRIES / pushed, "entries/s", pushed / alone, "time of the store alone"),
        Row("bytes on the wire", sum(sent) / 1e6, "MB", wire, "entries as JSON", "<= 1.1"),
        Row("ping", ping, "ms"),
        Row("append + fsync of the same bytes", bare, "ms"),
        Row("one entry handed in", one, "ms", one / ping, "ping", "<= 6"),
        Row("the same without the wait for the disk", one - bare, "ms", (one - bare) / ping, "ping"),
    ]


async def _singles(
    client: httpx.AsyncClient, url: str, token: str, maker: Maker, disk: BareDisk
) -> tuple[float, float, float]:
    """Medians (ms) of handing in one entry, of a call that does nothing and of the disk alone, in turns."""
    headers = {"Authorization": f"Bearer {token}"}
    ones: list[float] = []
    pings: list[float] = []
    bare: list[float] = []
    for _ in range(SINGLES):
        body = json.dumps({"entries": [maker.next()]}).encode()
        ones.append(await _seconds(lambda body=body: client.post(f"{url}/sync/entries", content=body, headers=headers)))
        pings.append(await _seconds(lambda: client.get(f"{url}/ping")))
        bare.append(disk.ms(body))
    disk.close()
    return statistics.median(ones) * 1000, statistics.median(pings) * 1000, statistics.median(bare)


async def _seconds(call: Callable[[], object]) -> float:
    began = time.perf_counter()
    await call()  # type: ignore[misc]
    return time.perf_counter() - began
