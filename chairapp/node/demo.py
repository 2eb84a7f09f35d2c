"""The demo: a clinic server and a chair node as two processes, and the invented visits handed in over the real hop."""

import contextlib
import signal
import socket
import subprocess
import sys
import tempfile
import time
import webbrowser
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx

from chairapp.box.code import new_code
from chairapp.case import entries_of, read_case
from chairapp.node.errors import NodeError, PortTaken

__all__ = ["CASES", "hand_in", "run_demo"]

CASES = Path(__file__).parents[2] / "demo_cases"

_HOST = "127.0.0.1"
_START_SECONDS = 40.0
_APART_MS = 3 * 3600 * 1000


def run_demo(port: int, data: Path | None, browser: bool) -> int:
    """Run both nodes until Ctrl-C or SIGTERM; gives the exit code. Raises PortTaken and NodeError, with both ended."""
    for taken in (port, port + 10):
        _refuse_taken(taken)
    with contextlib.ExitStack() as stack:
        folder = data or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="threemark-demo-")))
        stack.enter_context(_stopping_on(signal.SIGTERM))
        clinic = stack.enter_context(_process("clinic", folder, port + 10, "--label-address", f"{_HOST}:{port}"))
        chair = stack.enter_context(_process("chair", folder, port, "--clinic", _url(port + 10)))
        try:
            loaded = _load(_url(port), (clinic, chair))
            _say(port, loaded, folder if data else None)
            if browser:
                webbrowser.open(_url(port))
            return _wait((clinic, chair))
        except KeyboardInterrupt:
            print("Stopping.", flush=True)
            return 0


def hand_in(chair: httpx.Client, cases: Path, now_ms: int) -> int:
    """Act as a newly paired tablet: pair, make the visits of the case files, hand them in. Gives their number."""
    paired = _answer(chair.post("/pair", json={"kind": "tablet", "name": "Demo tablet"}))
    chair.headers["Authorization"] = f"Bearer {paired['token']}"
    sequence = _answer(chair.get(f"/sync/sequence/{paired['clinic']['sequence']}"))
    files = sorted(cases.glob("*.json"))
    if not files:
        raise NodeError(f"{cases}: the demo's cases are not here; run the demo from the project's folder")
    for number, file in enumerate(files):
        start = now_ms - (len(files) - number) * _APART_MS
        entries = _visit(file, sequence, paired, start)
        answer = _answer(chair.post("/sync/entries", json={"entries": entries}))
        if answer["refused"]:
            raise NodeError(f"{file.name}: refused by the node: {answer['refused'][0]['why']}")
    return len(files)


def _visit(file: Path, sequence: dict[str, Any], paired: dict[str, Any], start: int) -> list[dict[str, Any]]:
    case = replace(read_case(str(file)), box=new_code(paired["letter"]))
    return entries_of(case, sequence, start, paired["device"])


def _load(url: str, nodes: tuple[subprocess.Popen[bytes], ...]) -> int:
    """Wait for both nodes, then hand the visits in unless the folder already holds some."""
    with httpx.Client(base_url=url, timeout=10, trust_env=False, headers={"Threemark-Protocol": "1"}) as chair:
        if visits := _await_both(chair, nodes):
            return visits
        return hand_in(chair, CASES, time.time_ns() // 1_000_000)


def _await_both(chair: httpx.Client, nodes: tuple[subprocess.Popen[bytes], ...]) -> int:
    """Until the chair node says that it has heard from its clinic server; gives how many visits it holds already."""
    until = time.monotonic() + _START_SECONDS
    while time.monotonic() < until:
        _refuse_dead(nodes)
        with contextlib.suppress(httpx.TransportError):
            ready = chair.get("/ready")
            if ready.status_code == 200:
                return int(ready.json()["visits"])
        time.sleep(0.1)
    raise NodeError(f"the nodes did not start within {_START_SECONDS:g} seconds")


def _refuse_dead(nodes: tuple[subprocess.Popen[bytes], ...]) -> None:
    for node in nodes:
        if node.poll() is not None:
            raise NodeError("a node of the demo ended while starting; its own line above says why")


def _answer(response: httpx.Response) -> Any:
    body = response.json()
    if response.status_code != 200:
        raise NodeError(f"the chair node answered {response.status_code}: {body['error']['why']}")
    return body


@contextlib.contextmanager
def _process(role: str, folder: Path, port: int, *more: str) -> Iterator[subprocess.Popen[bytes]]:
    """A node as a process of its own, ended with the demo."""
    command = [sys.executable, "-m", "chairapp.cli", role, "--data", str(folder / role), "--port", str(port), *more]
    process = subprocess.Popen(command, stdin=subprocess.DEVNULL, start_new_session=True)  # noqa: S603 - our own program
    try:
        yield process
    finally:
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


@contextlib.contextmanager
def _stopping_on(number: signal.Signals) -> Iterator[None]:
    """Take this signal as Ctrl-C."""

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(number, stop)
    try:
        yield
    finally:
        signal.signal(number, before)


def _wait(nodes: tuple[subprocess.Popen[bytes], ...]) -> int:
    while True:
        for node in nodes:
            with contextlib.suppress(subprocess.TimeoutExpired):
                node.wait(0.5)
                print("threemark demo: a node ended, so the demo ends.", file=sys.stderr)
                return 1


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
