"""Memory of a clinic server while managers browse: `make soak`, or

    python -m bench._browsing [--seconds N] [--managers N] [--visits N]

A real server process with invented visits; each manager opens one page after the other, as a reader does, and rests
between them. The server's resident memory is read twelve times; the later half must hold no more than a tenth over the
first reading of it. Writes BROWSING.md.
"""

import argparse
import contextlib
import os
import platform
import random
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import httpx

from bench.audit import made
from sync.sql_store import SqlStore

READINGS = 12
RESTS_S = (2.0, 8.0)
FLAT = 1.1
PAGES = (
    "/audit",
    "/audit?only=accepted",
    "/audit?only=unsigned&clinician=clin-1",
    "/audit/figures?since=",
    "/audit/figures/steadiness?since=",
    "/audit/figures/outcomes?since=",
    "/audit/devices",
    "/audit/access",
)


def main() -> int:
    """0 when memory stayed flat and every page was given."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--seconds", type=int, default=600)
    asked.add_argument("--managers", type=int, default=20)
    asked.add_argument("--visits", type=int, default=500)
    args = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder, _server(Path(folder) / "clinic") as (url, server):
        visits = _fill(Path(folder) / "clinic", args.visits)
        browsing = _Browsing(url, visits)
        megabytes = [*_watched(browsing, server.pid, args.managers, args.seconds)]
    text, flat = _report(args, browsing, megabytes)
    (Path(__file__).parent / "BROWSING.md").write_text(text)
    print(text)
    return 0 if flat and not browsing.failed else 1


class _Browsing:
    """Managers at their pages until `over`; how long each page took, in ms, and what was not given."""

    def __init__(self, url: str, visits: list[str]) -> None:
        self.over = threading.Event()
        self.ms: list[float] = []
        self.failed: list[str] = []
        self._url = url
        self._visits = visits

    def browse(self, number: int) -> None:
        chance = random.Random(number)
        with httpx.Client(base_url=self._url, timeout=30, trust_env=False, follow_redirects=True) as manager:
            while not self.over.wait(chance.uniform(*RESTS_S)):
                page = chance.choice((*PAGES, f"/audit/{chance.choice(self._visits)}"))
                began = time.perf_counter()
                answer = manager.get(page)
                self.ms.append((time.perf_counter() - began) * 1000)
                if answer.status_code != 200 or "tm-ways-within" not in answer.text:
                    self.failed.append(f"{page}: {answer.status_code}")


def _watched(browsing: _Browsing, server: int, managers: int, seconds: int) -> Iterator[float]:
    """Resident megabytes of the server, READINGS times in `seconds`."""
    threads = [threading.Thread(target=browsing.browse, args=(number,)) for number in range(managers)]
    for thread in threads:
        thread.start()
    for _ in range(READINGS):
        browsing.over.wait(seconds / READINGS)
        yield _resident(server)
    browsing.over.set()
    for thread in threads:
        thread.join()


def _resident(process: int) -> float:
    pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def _fill(data: Path, visits: int) -> list[str]:
    """Into the store of the running server, which notices by itself."""
    with contextlib.closing(SqlStore(f"sqlite:///{data}/clinic.sqlite")) as store:
        names = []
        for number in range(visits):
            entries = made(number)
            store.add(entries)
            names.append(str(entries[0]["visit"]))
        return names


@contextlib.contextmanager
def _server(data: Path) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = found.getsockname()[1]
    command = [sys.executable, "-m", "chairapp.cli", "clinic", "--data", str(data), "--port", str(port)]
    server = subprocess.Popen([*command, "--demo", "yes"], cwd=Path(__file__).parents[1])
    try:
        url = f"http://127.0.0.1:{port}"
        _wait_for(url, server)
        yield url, server
    finally:
        server.terminate()
        server.wait()


def _wait_for(url: str, server: subprocess.Popen[bytes]) -> None:
    for _ in range(300):
        with contextlib.suppress(httpx.TransportError):
            if httpx.get(f"{url}/ready", trust_env=False).status_code == 200:
                return
        if server.poll() is not None:
            raise SystemExit("the clinic server ended while starting; its own line above says why")
        time.sleep(0.1)
    raise TimeoutError(f"{url} did not come up.")


def _report(args: argparse.Namespace, browsing: _Browsing, megabytes: list[float]) -> tuple[str, bool]:
    late = megabytes[READINGS // 2 :]
    flat = max(late) <= FLAT * late[0]
    p95 = sorted(browsing.ms)[len(browsing.ms) * 95 // 100]
    told = (
        ("pages given", f"{len(browsing.ms):,}"),
        ("pages not given", f"{len(browsing.failed)} {' '.join(browsing.failed[:3])}".strip()),
        ("a page, ms", f"{statistics.median(browsing.ms):.0f} (p95 {p95:.0f})"),
        ("resident MB, in turn", ", ".join(f"{value:.0f}" for value in megabytes)),
        (f"later half within {FLAT:g} of its first", "yes" if flat else "**no**"),
    )
    lines = [
        "# Memory while managers browse",
        "",
        f"{datetime.now(UTC):%Y-%m-%d}, {platform.system()} {platform.machine()}, {os.cpu_count()} cores (load "
        f"{os.getloadavg()[0]:.1f} at the end), Python {platform.python_version()}. {args.managers} managers, "
        f"{args.seconds} s, {args.visits} visits.",
        "",
        "| what | |",
        "| - | - |",
        *(f"| {what} | {found} |" for what, found in told),
    ]
    return "\n".join(lines) + "\n", flat


if __name__ == "__main__":
    sys.exit(main())
