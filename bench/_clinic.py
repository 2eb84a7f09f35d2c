"""A clinic server in its own process, for measurements over real HTTP on loopback: token, checks and chain included."""

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import httpx

from sync.access import FileDevices

_SERVER = """
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


class Clinic(NamedTuple):
    """Where it is, the token of a node of it, and its process."""

    url: str
    token: str
    pid: int


@contextmanager
def running_clinic(folder: Path) -> Iterator[Clinic]:
    """Its store is in `folder`."""
    _, token = FileDevices(folder / "devices.json").add("node", "Bag", "")
    port = _free_port()
    command = [sys.executable, "-c", _SERVER, str(folder), str(port)]
    server = subprocess.Popen(command, cwd=Path(__file__).parents[1])
    try:
        url = f"http://127.0.0.1:{port}"
        _wait_for(url)
        yield Clinic(url, token, server.pid)
    finally:
        server.terminate()
        server.wait()


class BareDisk:
    """An append with an fsync, which every durable entry has to wait for: what the disk takes, on this machine, now."""

    def __init__(self, folder: Path) -> None:
        self._file = os.open(folder / "bare", os.O_WRONLY | os.O_CREAT | os.O_APPEND)

    def ms(self, data: bytes) -> float:
        began = time.perf_counter()
        os.write(self._file, data)
        os.fsync(self._file)
        return (time.perf_counter() - began) * 1000

    def close(self) -> None:
        os.close(self._file)


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
