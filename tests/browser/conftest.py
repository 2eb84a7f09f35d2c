"""A real Chromium with a profile that outlives it, and nodes that are real processes and are really killed."""

import contextlib
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, Playwright

from tests.chromium import ARGS, CHROMIUM

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)


def until(condition: Callable[[], object], why: str, seconds: float = PATIENCE_S) -> object:
    """Ask again until `condition()` gives something true; fails with `why` when the time is up."""
    pause = threading.Event()
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := condition():
            return found
        pause.wait(0.05)
    raise AssertionError(f"not within {seconds} s: {why}")


def until_page(page: Page, expression: str, seconds: float = PATIENCE_S) -> object:
    """Wait until a JavaScript expression holds on the page.

    In place of `page.wait_for_function`, which evaluates text inside the page: the tablet page's policy forbids that.
    """
    return until(lambda: page.evaluate(expression), f"{expression} on {page.url}", seconds)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Process:
    """A server as a real process. `start` returns when it answers; `kill` leaves it no time for anything."""

    def __init__(self, command: list[str], url: str, log: Path) -> None:
        self.command, self.url, self._log = command, url, log
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> "Process":
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(self.command, cwd=ROOT, stdout=log, stderr=log, env=self._environment())
        until(self._answers, f"{self.url} to answer; its log: {self._log.read_text()[-2000:]}")
        return self

    def kill(self) -> None:
        if self._process:
            self._process.send_signal(signal.SIGKILL)
            self._process.wait()
            self._process = None

    def stop(self) -> None:
        """As Ctrl-C does."""
        if self._process:
            self._process.send_signal(signal.SIGINT)
            self._process.wait(timeout=PATIENCE_S)
            self._process = None

    @property
    def dead(self) -> bool:
        return self._process is None or self._process.poll() is not None

    def log(self) -> str:
        return self._log.read_text()

    def _answers(self) -> bool:
        if self.dead:
            raise AssertionError(f"{' '.join(self.command)} ended at once:\n{self.log()[-3000:]}")
        try:
            urllib.request.urlopen(self.url, timeout=2).close()
        except urllib.error.HTTPError:
            return True
        except OSError:
            return False
        return True

    def _environment(self) -> dict[str, str]:
        return {**os.environ, "PYTHONUNBUFFERED": "1", "NICEGUI_STORAGE_PATH": str(self._log.parent / "nicegui")}


class Processes:
    def __init__(self, logs: Path) -> None:
        self._logs = logs
        self.started: list[Process] = []

    def __call__(self, command: list[str], url: str) -> Process:
        self.started.append(Process(command, url, self._logs / f"process-{len(self.started)}.log"))
        return self.started[-1].start()

    def kill(self) -> None:
        for process in self.started:
            process.kill()


@pytest.fixture
def port() -> int:
    """A free port, the same throughout a test: a node that comes back comes back at its address."""
    return free_port()


@pytest.fixture
def processes(tmp_path: Path) -> Iterator[Processes]:
    """`processes(command, url)` starts a server; what is still running at the end is killed.

    `processes.started` are all of them, the first one first.
    """
    yield (starting := Processes(tmp_path))
    starting.kill()


@pytest.fixture
def small_node(processes: Processes, tmp_path: Path) -> Callable[..., Process]:
    """`small_node(port, "--mark", "two", data="other")` starts a small node; the same `data` is the same store."""

    def start(port: int, *options: str, data: str = "node") -> Process:
        command = [sys.executable, "-m", "tests.browser.small_node", "--port", str(port)]
        return processes([*command, "--data", str(tmp_path / data), *options], f"http://127.0.0.1:{port}/sw.js")

    return start


class Tablet:
    """One browser on one profile. `restart` closes all of it and opens it anew on what it kept."""

    def __init__(self, playwright: Playwright, profile: Path, **options: object) -> None:
        self._playwright, self._profile, self._options = playwright, profile, options
        self.context: BrowserContext = self._launch()
        self.errors: list[str] = []

    @property
    def page(self) -> Page:
        return self.context.pages[0] if self.context.pages else self.context.new_page()

    def open(self, url: str) -> Page:
        page = self.context.new_page()
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on("console", lambda message: self.errors.append(message.text) if message.type == "error" else None)
        page.goto(url)
        return page

    def restart(self) -> None:
        self.context.close()
        self.context = self._launch()

    def close(self) -> None:
        self.context.close()

    def _launch(self) -> BrowserContext:
        options = {"executable_path": CHROMIUM, "args": ARGS, "accept_downloads": True, **self._options}
        return self._playwright.chromium.launch_persistent_context(str(self._profile), **options)


@pytest.fixture
def tablets(playwright: Playwright, tmp_path: Path) -> Iterator[Callable[..., Tablet]]:
    """`tablets("name")` opens a browser of its own; options are those of launch_persistent_context."""
    opened: list[Tablet] = []

    def launch(name: str = "tablet", **options: object) -> Tablet:
        opened.append(Tablet(playwright, tmp_path / f"profile-{name}", **options))
        return opened[-1]

    yield launch
    for tablet in opened:
        with contextlib.suppress(Exception):
            tablet.close()


@pytest.fixture
def tablet(tablets: Callable[..., Tablet]) -> Tablet:
    return tablets()


@pytest.fixture(scope="session")
def clinic_data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The data folder of `clinic`."""
    return tmp_path_factory.mktemp("clinic") / "data"


@pytest.fixture(scope="session")
def clinic(clinic_data: Path) -> Iterator[str]:
    """The address of a clinic server, one for all tests that ask for it: each opens its own visit on its own tablet."""
    folder, port = clinic_data.parent, free_port()
    url = f"http://127.0.0.1:{port}"
    threemark = str(Path(sys.executable).parent / "threemark")
    processes = Processes(folder)
    command = [threemark, "clinic", "--demo", "yes", "--data", str(folder / "data"), "--port", str(port)]
    node = processes(command, url)
    yield url
    node.stop()


@pytest.fixture
def hand(clinic: str, tablets: Callable[..., Tablet]) -> Iterator[object]:
    """A visit just opened on a tablet of 1024 x 768, by an invented clinician. No error may come up on its page."""
    from tests.browser.chair import Chair  # it waits with `until`, which stands here

    tablet = tablets(viewport={"width": 1024, "height": 768})
    hand = Chair(tablet.open(f"{clinic}/chair"), {})
    hand.sign_in("clin-1")
    hand.open_visit("1")
    yield hand
    assert tablet.errors == []


@contextlib.contextmanager
def silent_server(port: int) -> Iterator[list[bytes]]:
    """A server that accepts every call, reads it and never answers. Gives the beginnings of what it was sent."""
    heard: list[bytes] = []
    kept: list[socket.socket] = []
    listening = socket.create_server(("127.0.0.1", port), reuse_port=False)

    def accept() -> None:
        while True:
            try:
                connection, _ = listening.accept()
            except OSError:
                return
            kept.append(connection)
            threading.Thread(target=lambda c=connection: heard.append(_read(c)), daemon=True).start()

    threading.Thread(target=accept, daemon=True).start()
    try:
        yield heard
    finally:
        listening.close()
        for connection in kept:
            connection.close()


def _read(connection: socket.socket) -> bytes:
    try:
        return connection.recv(4096)
    except OSError:
        return b""
