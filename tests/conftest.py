"""One Playwright for the whole run, and the tests that need it after all others."""

import os
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Playwright, sync_playwright

from tests.chromium import ARGS, CHROMIUM

# Nodes that tests start as processes hold the invented clinic, as those of the demo do.
os.environ["THREEMARK_DEMO"] = "yes"


# Begun first among those in a browser: what takes longest must not be what one worker does alone at the end.
LONGEST = ("test_parity.py", "test_whole_visit.py", "test_stranded.py", "test_walk.py")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    # Playwright's loop runs in the main thread from start to end: a second one, or asyncio.run, is refused there. So
    # whatever has a test of a browser in it comes after all other files, and in it that test after the others.
    late = {item.path for item in items if _in_a_browser(item)}
    items.sort(key=lambda item: (item.path in late, item.path.name not in LONGEST, _in_a_browser(item)))


def _in_a_browser(item: pytest.Item) -> bool:
    return "playwright" in getattr(item, "fixturenames", ())


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    """A browser that keeps nothing; `tablets` of tests/browser are those with a memory."""
    running = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
    yield running
    running.close()
