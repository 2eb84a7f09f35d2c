"""The demo: a clinic server and a chair node as two processes, and the invented visits handed in over the real hop."""

import contextlib
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import webbrowser
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx

from chairapp.box.code import new_code
from chairapp.case import entries_of, read_case
from chairapp.node.demo_boxes import past_visits
from chairapp.node.demo_earlier import earlier_visits
from chairapp.node.errors import NodeError, PortTaken

__all__ = ["CASES", "hand_in", "run_demo"]

Doc = dict[str, Any]
Nodes = tuple[subprocess.Popen[bytes], ...]

CASES = Path(__file__).parents[2] / "demo_cases"

_HOST = "127.0.0.1"
_START_SECONDS = 60.0
_APART_MS = 3 * 3600 * 1000


def run_demo(port: int, data: Path | None, browser: bool) -> int:
    """Run both nodes until Ctrl-C or SIGTERM; gives the exit code. Raises PortTaken and NodeError, with both ended."""
    for taken in (port, port + 10):
        _refuse_taken(taken)
    with contextlib.ExitStack() as stack:
        folder = data or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="threemark-demo-")))
        stop = stack.enter_context(_told_to_stop())
        nodes = stack.enter_context(_processes(*_commands(folder, port)))
        loaded = _load(_url(port), nodes, stop)
        if not stop.is_set():
            _say(port, loaded, folder if data else None)
            if browser:
                webbrowser.open(_url(port))
        return _wait(nodes, stop)


def hand_in(chair: httpx.Client, cases: Path, now_ms: int) -> int:
    """Act as a newly paired tablet: pair, make the visits of the case files, hand them in. Gives their number."""
    paired = _answer(chair.post("/pair", json={"kind": "tablet", "name": "Demo tablet"}))
    chair.headers["Authorization"] = f"Bearer {paired['token']}"
    sequence = _answer(chair.get(f"/sync/sequence/{paired['clinic']['sequence']}"))
    files = sorted(cases.glob("*.json"))
    if not files:
        raise NodeError(f"{cases}: the demo's cases are not here; run the demo from the project's folder")
    visits = 0
    for entries in _visits(files, sequence, paired, now_ms):
        visits += 1
        answer = _answer(chair.post("/sync/entries", json={"entries": entries}))
        if answer["refused"]:
            raise NodeError(f"a visit of the demo was refused by the node: {answer['refused'][0]['why']}")
    return visits


def _visits(files: list[Path], sequence: Doc, paired: Doc, now_ms: int) -> Iterator[list[Doc]]:
    """The oldest first: those of past months, those whose boxes are on their way, today's."""
    made_by = (files[0].parent, sequence, paired["letter"], paired["device"], now_ms)
    yield from earlier_visits(*made_by)
    yield from past_visits(*made_by)
    for number, file in enumerate(files):
        yield _visit(file, sequence, paired, now_ms - (len(files) - number) * _APART_MS)


def _visit(file: Path, sequence: Doc, paired: Doc, start: int) -> list[Doc]:
    case = replace(read_case(str(file)), box=new_code(paired["letter"]))
    return entries_of(case, sequence, start, paired["device"])


def _load(url: str, nodes: Nodes, stop: threading.Event) -> int:
    """Wait for both nodes, then hand the visits in unless the folder already holds some. Gives how many there are."""
    with httpx.Client(base_url=url, timeout=10, trust_env=False, headers={"Threemark-Protocol": "1"}) as chair:
        if visits := _await_both(chair, nodes, stop):
            return visits
        return 0 if stop.is_set() else hand_in(chair, CASES, time.time_ns() // 1_000_000)


def _await_both(chair: httpx.Client, nodes: Nodes, stop: threading.Event) -> int:
    """Until the chair node says that it has heard from its clinic server; gives how many visits it holds already."""
    until = time.monotonic() + _START_SECONDS
    while time.monotonic() < until and not stop.wait(0.1):
        _refuse_dead(nodes)
        with contextlib.suppress(httpx.TransportError):
            ready = chair.get("/ready")
            if ready.status_code == 200:
                return int(ready.json()["visits"])
    if stop.is_set():
        return 0
    raise NodeError(f"the nodes did not start within {_START_SECONDS:g} seconds")


def _refuse_dead(nodes: Nodes) -> None:
    for node in nodes:
        if node.poll() is not None:
            raise NodeError("a node of the demo ended while starting; its own line above says why")


def _answer(response: httpx.Response) -> Any:
    body = response.json()
    if response.status_code != 200:
        raise NodeError(f"the chair node answered {response.status_code}: {body['error']['why']}")
    return body


def _commands(folder: Path, port: int) -> tuple[list[str], list[str]]:
    clinic = ["clinic", "--data", str(folder / "clinic"), "--port", str(port + 10)]
    chair = ["chair", "--data", str(folder / "chair"), "--port", str(port), "--clinic", _url(port + 10)]
    return [*clinic, "--demo", "yes", "--label-address", f"{_HOST}:{port}"], [*chair, "--demo", "yes"]


@contextlib.contextmanager
def _processes(*commands: list[str]) -> Iterator[Nodes]:
    """Each node as a process of its own; all are ended with the demo, those that hang after ten seconds by force."""
    nodes: list[subprocess.Popen[bytes]] = []
    try:
        for command in commands:
            line = [sys.executable, "-m", "chairapp.cli", *command]
            nodes.append(subprocess.Popen(line, stdin=subprocess.DEVNULL, start_new_session=True))  # noqa: S603 - ours
        yield tuple(nodes)
    finally:
        for node in nodes:
            node.terminate()
        for node in nodes:
            try:
                node.wait(10)
            except subprocess.TimeoutExpired:
                node.kill()
                node.wait()


@contextlib.contextmanager
def _told_to_stop() -> Iterator[threading.Event]:
    """An event that Ctrl-C and SIGTERM set; an exception raised in the middle of anything could get lost."""
    stop = threading.Event()
    numbers = (signal.SIGINT, signal.SIGTERM)
    before = [signal.signal(number, lambda *_: stop.set()) for number in numbers]
    try:
        yield stop
    finally:
        for number, handler in zip(numbers, before, strict=True):
            signal.signal(number, handler)


def _wait(nodes: Nodes, stop: threading.Event) -> int:
    while not stop.wait(0.3):
        if any(node.poll() is not None for node in nodes):
            print("threemark demo: a node ended, so the demo ends.", file=sys.stderr)
            return 1
    print("Stopping.", flush=True)
    return 0


def _refuse_taken(port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((_HOST, port))
        except OSError:
            raise PortTaken(f"--port {port}: another program listens there, choose another port") from None


def _url(port: int) -> str:
    return f"http://{_HOST}:{port}"


def _say(port: int, loaded: int, kept: Path | None) -> None:
    print(f"Threemark demo: {loaded} invented visits at the chair node, on their way to the clinic server.")
    print(f"  Chair node     {_url(port)}")
    print(f"  Clinic server  {_url(port + 10)}")
    print(f"  Data           {kept or 'in a temporary folder, gone when the demo ends'}")
    print("Ctrl-C ends both.", flush=True)
