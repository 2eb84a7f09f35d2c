"""WebKit through WebKitWebDriver, with as much of Playwright's page as `Chair` needs: the same hand, another engine."""

import os
import shutil
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx

from tests.browser.conftest import free_port, until

BROWSERS = "*/webkit2gtk-4*/MiniBrowser"
ELEMENT = "element-6066-11e4-a52e-4f735466cecf"
PATIENCE_S = 30
EVALUATE = """
const done = arguments[1];
const told = (%s);
Promise.resolve(typeof told === "function" ? told(arguments[0]) : told)
  .then((out) => done({ out: out ?? null }), (error) => done({ error: String(error) }));
"""
SHOWN = "return arguments[0].checkVisibility() && arguments[0].getClientRects().length > 0"


def missing() -> str:
    """What would have to be installed, or "" when WebKit can be driven here."""
    if not shutil.which("WebKitWebDriver") or not _browser():
        return "WebKit is not installed: apt-get install webkit2gtk-driver"
    return "" if shutil.which("xvfb-run") else "there is no screen for it: apt-get install xvfb xauth"


@contextmanager
def webkit(folder: Path) -> Iterator["Page"]:
    """A window of WebKit on a screen of its own; all of it ends with the block."""
    port = free_port()
    command = ["xvfb-run", "-a", "-s", "-screen 0 1280x1024x24", "WebKitWebDriver", f"--port={port}"]
    with (folder / "webkit.log").open("wb") as log:
        driver = subprocess.Popen(command, stdout=log, stderr=log, start_new_session=True)
    http = httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=120, trust_env=False)
    try:
        until(lambda: _answers(http), "WebKitWebDriver to answer")
        options = {"binary": str(_browser()), "args": ["--automation"]}
        asked = {"capabilities": {"alwaysMatch": {"webkitgtk:browserOptions": options}}}
        session = http.post("/session", json=asked).json()["value"]["sessionId"]
        yield Page(http, f"/session/{session}")
        http.delete(f"/session/{session}")
    finally:
        http.close()
        os.killpg(driver.pid, signal.SIGTERM)
        driver.wait()


def _browser() -> Path | None:
    return next(Path("/usr/lib").glob(BROWSERS), None) or next(
        Path("/usr/libexec").glob("webkit2gtk-4*/MiniBrowser"), None
    )


def _answers(http: httpx.Client) -> bool:
    try:
        return http.get("/status").is_success
    except httpx.TransportError:
        return False


class WebDriverError(Exception):
    pass


@dataclass(frozen=True)
class Page:
    http: httpx.Client
    session: str

    def call(self, method: str, path: str, **body: object) -> Any:
        answer = self.http.request(method, self.session + path, json=body if method == "POST" else None)
        value = answer.json()["value"]
        if answer.is_error:
            raise WebDriverError(f"{method} {path}: {value['error']}: {value['message']}")
        return value

    def goto(self, url: str) -> None:
        self.call("POST", "/url", url=url)

    def reload(self) -> None:
        self.call("POST", "/refresh")

    def evaluate(self, expression: str, given: object = None) -> Any:
        answer = self.call("POST", "/execute/async", script=EVALUATE % expression, args=[given])
        if "error" in answer:
            raise WebDriverError(answer["error"])
        return answer["out"]

    def locator(self, css: str) -> "Locator":
        return Locator(self, css)

    @property
    def url(self) -> str:
        return str(self.call("GET", "/url"))


@dataclass(frozen=True)
class Locator:
    """Elements that a selector finds at the time of the call; `within` limits it, `place` takes one of them."""

    page: Page
    css: str
    within: "Locator | None" = None
    place: int | None = None

    @property
    def first(self) -> "Locator":
        return Locator(self.page, self.css, self.within, 0)

    @property
    def last(self) -> "Locator":
        return Locator(self.page, self.css, self.within, -1)

    def locator(self, css: str) -> "Locator":
        return Locator(self.page, css, self)

    def count(self) -> int:
        return len(self._found())

    def wait_for(self) -> None:
        until(self.is_visible, f"{self.css} to be seen", PATIENCE_S)

    def is_visible(self) -> bool:
        return any(self.page.call("POST", "/execute/sync", script=SHOWN, args=[one]) for one in self._found())

    def click(self) -> None:
        """Once it is there and nothing lies over it, as Playwright does."""
        until(self._clicked, f"{self.css} to be clicked", PATIENCE_S)

    def fill(self, text: str) -> None:
        path = f"/element/{self._one()[ELEMENT]}"
        self.page.call("POST", f"{path}/clear")
        self.page.call("POST", f"{path}/value", text=text)

    def input_value(self) -> str:
        return str(self.page.call("GET", f"/element/{self._one()[ELEMENT]}/property/value"))

    def get_attribute(self, name: str) -> str | None:
        value: str | None = self.page.call("GET", f"/element/{self._one()[ELEMENT]}/attribute/{name}")
        return value

    def inner_text(self) -> str:
        return str(self.page.call("GET", f"/element/{self._one()[ELEMENT]}/text"))

    def evaluate_all(self, function: str) -> Any:
        # Each element an argument of its own: this driver does not look for them inside a list.
        return self.page.call(
            "POST", "/execute/sync", script=f"return ({function})([...arguments])", args=self._found()
        )

    def _found(self) -> list[dict[str, str]]:
        below = f"/element/{self.within._one()[ELEMENT]}" if self.within else ""
        found = self.page.call("POST", f"{below}/elements", using="css selector", value=self.css)
        return found if self.place is None or not found else [found[self.place]]

    def _one(self) -> dict[str, str]:
        return until(self._found, f"{self.css} on the page", PATIENCE_S)[0]  # type: ignore[index]

    def _clicked(self) -> bool:
        try:
            self.page.call("POST", f"/element/{self._one()[ELEMENT]}/click")
        except WebDriverError as error:
            if any(word in str(error) for word in ("intercepted", "not interactable", "stale element")):
                return False
            raise
        return True
