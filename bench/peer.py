"""The hop against PouchDB 9 replicating the same documents to express-pouchdb on leveldb, on this machine.

PouchDB does more: it keeps every revision, several masters may change one document, and conflicts are kept for the
application to settle. Ours moves immutable entries one way, in batches, checked and chained, and fsyncs each batch. It
is measured because it is the most trusted way to do offline-first replication in a browser, not because it is worse.
Both sides of an arm are processes of their own; the arms take turns; PouchDB comes through npm into a temporary folder.
Its server is measured as it comes, and bare: with everything left out that replication does not need.
"""

import asyncio
import contextlib
import json
import os
import shutil
import statistics
import subprocess
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx

from bench import Row
from bench._clinic import BareDisk, Clinic, running_clinic
from bench.save import Maker
from sync.entry import Entry, canonical
from sync.forward import Forward
from sync.tiny_store import TinyStore

ROUNDS = 5
ENTRIES = 4_000
ONE_BY_ONE = 60
BATCHES = (100, 500)
PACKAGES = ("pouchdb@9", "express-pouchdb@4", "express@4")
# Modes of express-pouchdb.
SERVERS = {"as it comes": "fullCouchDB", "bare": "minimumForPouchDB"}
GATES = {("as it comes", 100): ">= 6", ("as it comes", 500): ">= 4"}
SCRIPTS = Path(__file__).parent / "pouch"


def run() -> list[Row]:
    if not (shutil.which("npm") and shutil.which("node")):
        print("bench peer: skipped, there is no npm on this machine to fetch PouchDB with.")
        return []
    with tempfile.TemporaryDirectory() as name, contextlib.ExitStack() as running:
        folder = Path(name)
        if not _installed(folder):
            print("bench peer: skipped, npm could not fetch PouchDB.")
            return []
        clinic = running.enter_context(running_clinic(_made(folder / "clinic")))
        chair = running.enter_context(contextlib.closing(Chair(folder / "chair", clinic)))
        peers = {how: running.enter_context(_pouch(folder, mode)) for how, mode in SERVERS.items()}
        disk = running.enter_context(contextlib.closing(BareDisk(folder)))
        return _measured(chair, peers, disk, running.enter_context(asyncio.Runner()))


def _measured(chair: "Chair", peers: dict[str, "Pouch"], disk: BareDisk, loop: asyncio.Runner) -> list[Row]:
    maker = Maker()
    push, work, wire, one = Medians(), Medians(), Medians(), Medians()
    for turn in range(ROUNDS):
        entries = [maker.next() for _ in range(ENTRIES)]
        singles = [maker.next() for _ in range(ONE_BY_ONE)]
        raw = sum(len(canonical(entry)) for entry in entries)
        chair.keep(entries)
        worked = _processor_ms(chair.pids)
        seconds, sent = loop.run(chair.push())
        push.add("ours", seconds)
        work.add("ours", _processor_ms(chair.pids) - worked)
        wire.add("ours", sent / raw)
        one.add("ours", *loop.run(chair.one_by_one(singles)))
        one.add("disk", *(disk.ms(canonical(entry)) for entry in singles))
        for how, pouch in peers.items():
            pouch.load(f"docs-{turn}", entries)
            for batch in BATCHES:
                before, worked = pouch.received(), _processor_ms(pouch.pids)
                push.add(f"{how} {batch}", pouch.replicate(f"docs-{turn}", batch, ENTRIES))
                work.add(f"{how} {batch}", _processor_ms(pouch.pids) - worked)
                wire.add(f"{how} {batch}", (pouch.received() - before) / raw)
            one.add(how, *pouch.live(f"live-{turn}", singles))
    return [*_push_rows(push), *_work_rows(work), *_wire_rows(wire), *_one_rows(one)]


class Medians:
    def __init__(self) -> None:
        self._found: dict[str, list[float]] = {}

    def add(self, arm: str, *found: float) -> None:
        self._found.setdefault(arm, []).extend(found)

    def __getitem__(self, arm: str) -> float:
        return statistics.median(self._found[arm])


def _push_rows(push: Medians) -> list[Row]:
    ours = ENTRIES / push["ours"]
    rows = [Row(f"ours, {ENTRIES:,} entries, batch 500, checked, chained, fsynced", ours, "entries/s")]
    for how in SERVERS:
        for batch in BATCHES:
            theirs = ENTRIES / push[f"{how} {batch}"]
            gate = GATES.get((how, batch), "")
            rows.append(Row(f"PouchDB, batch {batch}, its server {how}", theirs, "docs/s", ours / theirs, "", gate))
    return [rows[0], *(row._replace(against="ours is so many times as fast") for row in rows[1:])]


def _work_rows(work: Medians) -> list[Row]:
    """Of both ends together; a busy machine changes it less than it changes the time."""
    what, ours = f"processor time for {ENTRIES:,}", work["ours"]
    rows = [Row(f"{what}, ours, comparing all visits afterwards included", ours)]
    for how in SERVERS:
        theirs = work[f"{how} 500"]
        rows.append(Row(f"{what}, PouchDB, batch 500, its server {how}", theirs, "ms", theirs / ours, "ours"))
    return rows


def _wire_rows(wire: Medians) -> list[Row]:
    ours, theirs = wire["ours"], wire["as it comes 500"]
    sent = "entries as JSON"
    return [
        Row("bytes to the server, ours, headers included, not packed", ours, "", ours, sent, "<= 1.1"),
        Row("bytes to the server, PouchDB, batch 500", theirs, "", theirs, sent),
    ]


def _one_rows(one: Medians) -> list[Row]:
    rows = [Row(f"one answer at the server, PouchDB live, its server {how}", one[how]) for how in SERVERS]
    ours, live = one["ours"], one["as it comes"]
    waits = f"of which two waits for the disk, at {one['disk']:.2g} ms; PouchDB waits for none"
    return [
        *rows,
        Row("one answer kept, sent, stored and acknowledged, ours", ours, "ms", ours / live, "live", "<= 0.7"),
        Row(waits, 2 * one["disk"]),
    ]


# ---- our arm


class Chair:
    """A chair node's store and its hop out to the clinic server."""

    def __init__(self, folder: Path, clinic: Clinic) -> None:
        self._store = TinyStore(folder)
        self._clinic = clinic
        self._sent, self._last_heard = 0, 0.0
        self._at_rest, self._acknowledged = asyncio.Event(), asyncio.Event()

    @property
    def pids(self) -> tuple[int, ...]:
        return os.getpid(), self._clinic.pid

    def keep(self, entries: Sequence[Entry]) -> None:
        for start in range(0, len(entries), 500):
            self._store.add(entries[start : start + 500])

    async def push(self) -> tuple[float, int]:
        """Seconds until all it holds is on the clinic's disk and acknowledged, and the bytes that took.

        Headers count. What the round does afterwards, comparing all visits by their digests, is left out of the time:
        the other arm ends at the last acknowledgement too.
        """
        before = self._sent
        async with self._client() as client:
            forward = self._forward(client)
            began = time.perf_counter()
            await forward.once()
            return self._last_heard - began, self._sent - before

    async def one_by_one(self, entries: Sequence[Entry]) -> list[float]:
        """From the call that keeps an entry here to the answer that it is on the clinic's disk (ms), each from rest."""
        moments = []
        async with self._client() as client:
            forward = self._forward(client)
            forward.start()
            for entry in entries:
                await self._at_rest.wait()
                self._acknowledged.clear()
                began = time.perf_counter()
                await asyncio.to_thread(self._store.add, [entry])
                await self._acknowledged.wait()
                moments.append((time.perf_counter() - began) * 1000)
            await forward.stop()
        return moments

    def close(self) -> None:
        self._store.close()

    def _forward(self, client: httpx.AsyncClient) -> Forward:
        async def wait(wake: asyncio.Event, _seconds: float) -> None:
            self._at_rest.set()
            await wake.wait()
            self._at_rest.clear()

        return Forward(self._store, self._clinic.url, self._clinic.token, client=client, wait=wait)

    def _client(self) -> httpx.AsyncClient:
        hooks: dict[str, list[Any]] = {"request": [self._weigh], "response": [self._heard]}
        return httpx.AsyncClient(event_hooks=hooks, trust_env=False, timeout=60)

    async def _weigh(self, request: httpx.Request) -> None:
        headers = sum(len(name) + len(value) + 4 for name, value in request.headers.raw)
        self._sent += len(f"{request.method} {request.url.path} HTTP/1.1\r\n\r\n") + headers + len(request.content)

    async def _heard(self, response: httpx.Response) -> None:
        if response.request.method == "POST":
            self._last_heard = time.perf_counter()
            self._acknowledged.set()


# ---- PouchDB's arm


class Pouch:
    """A PouchDB in a process of its own, and where its server is."""

    def __init__(self, folder: Path, process: "subprocess.Popen[str]", server: int, url: str) -> None:
        self._folder, self._process, self._url = folder, process, url
        self.pids = (process.pid, server)

    def load(self, name: str, entries: Sequence[Entry]) -> None:
        self._ask(do="load", name=name, file=self._file(entries))

    def replicate(self, name: str, batch: int, count: int) -> float:
        """Seconds."""
        answer = self._ask(do="replicate", name=name, batch=batch)
        if answer["written"] != count:
            raise RuntimeError(f"PouchDB replicated {answer['written']} documents of {count}.")
        return float(answer["seconds"])

    def live(self, name: str, entries: Sequence[Entry]) -> list[float]:
        """From the call that puts each document to when the server had it (ms)."""
        return [float(ms) for ms in self._ask(do="live", name=name, file=self._file(entries))["ms"]]

    def received(self) -> int:
        """Bytes its server was sent so far, headers included."""
        return int(httpx.get(f"{self._url}/_received", trust_env=False).json()["bytes"])

    def _file(self, entries: Sequence[Entry]) -> str:
        file = self._folder / "documents.json"
        file.write_text(json.dumps([{"_id": entry["id"], **entry} for entry in entries]))
        return str(file)

    def _ask(self, **command: Any) -> dict[str, Any]:
        assert self._process.stdin
        assert self._process.stdout
        self._process.stdin.write(json.dumps(command) + "\n")
        self._process.stdin.flush()
        answer: dict[str, Any] = json.loads(self._process.stdout.readline())
        if "error" in answer:
            raise RuntimeError(answer["error"])
        return answer


@contextmanager
def _pouch(folder: Path, mode: str) -> Iterator[Pouch]:
    server = _node(folder, "server.js", str(_made(folder / f"server-{mode}")), mode)
    assert server.stdout
    client = None
    try:
        url = f"http://127.0.0.1:{int(server.stdout.readline())}"
        client = _node(folder, "client.js", str(_made(folder / f"client-{mode}")), url)
        yield Pouch(folder, client, server.pid, url)
    finally:
        for process in filter(None, (client, server)):
            process.kill()
            process.wait()


def _node(folder: Path, script: str, *arguments: str) -> "subprocess.Popen[str]":
    environment = {**os.environ, "NODE_PATH": str(folder / "node_modules"), "NODE_NO_WARNINGS": "1"}
    command = ["node", str(SCRIPTS / script), *arguments]
    return subprocess.Popen(
        command, env=environment, text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=folder
    )


def _processor_ms(pids: Sequence[int]) -> float:
    """What these processes have used so far, in ms; 0 where the system does not tell it this way."""
    used = 0
    for pid in pids:
        with contextlib.suppress(FileNotFoundError):
            fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
            used += int(fields[11]) + int(fields[12])
    return used * 1000 / os.sysconf("SC_CLK_TCK")


def _installed(folder: Path) -> bool:
    (folder / "package.json").write_text("{}")
    command = ["npm", "install", "--no-audit", "--no-fund", "--loglevel=error", *PACKAGES]
    return subprocess.run(command, cwd=folder, stdout=subprocess.DEVNULL).returncode == 0


def _made(folder: Path) -> Path:
    folder.mkdir()
    return folder
