"""What a test does with the stand-in page and the small node behind it."""

import json
from pathlib import Path

from playwright.sync_api import Page

from sync.tiny_store import TinyStore
from tests.browser.conftest import until, until_page

VISIT = "01932b4e-0000-7000-8000-00000000cafe"


def address(port: int) -> str:
    return f"http://127.0.0.1:{port}/chair"


def set_options(page: Page, **options: object) -> None:
    """Options of the replica, used from the next load on. The page must be on the node's origin."""
    page.evaluate("options => localStorage.setItem('stand-in', JSON.stringify(options))", options)


def started(page: Page) -> None:
    until_page(page, "Boolean(globalThis.tm?.seen.started && document.querySelector('#entries'))")


def heard(page: Page) -> None:
    """Paired, and a whole round with the node is behind it."""
    started(page)
    until_page(page, "tm.status.paired && tm.status.lastHeard !== null")


def ready_for_offline(page: Page) -> None:
    """The same, and every file of the page is on the tablet."""
    heard(page)
    until_page(page, "tm.release.status().offlineReady")


def tap(page: Page, times: int = 1) -> None:
    """Add an entry by the button, each one shown before the next."""
    before = int(page.inner_text("#entries"))
    for n in range(times):
        page.click("#tap")
        until_page(page, f"document.querySelector('#entries').textContent === '{before + n + 1}'")


def add(page: Page, **draft: object) -> dict:
    whole = {"visit": VISIT, "kind": "answer", "item": "seating.upright", "value": "upright", "author": "ada", **draft}
    return page.evaluate("draft => tm.replica.add(draft)", whole)


def refusal(page: Page, **draft: object) -> dict:
    """Add an entry that cannot be added: {code, field, why}."""
    whole = {"visit": VISIT, "kind": "answer", "item": "seating.upright", "author": "ada", **draft}
    return page.evaluate(
        "draft => tm.replica.add(draft).then(() => null, ({code, field, why}) => ({code, field, why}))", whole
    )


def all_sent(page: Page) -> None:
    until_page(page, "tm.replica.status().pending === 0")


def held(page: Page) -> list[str]:
    """Ids of every entry on the tablet."""
    return page.evaluate("tm.replica.everything().then(({entries}) => entries.map(({id}) => id))")


def at_node(data: Path) -> list[str]:
    """Ids of every entry in the small node's store, in the order of receipt, a double one twice."""
    lines = (data / "entries.jsonl").read_text("utf-8").splitlines()
    store = TinyStore(data, write=False)
    ids = [entry["id"] for entry in store.since(limit=500).entries]
    assert all(sum(id in line for line in lines) == 1 for id in ids), "an entry stands in the journal twice"
    return ids


def arrived(page: Page, data: Path) -> None:
    """Every entry of the tablet is at the node exactly once."""
    all_sent(page)
    until(lambda: sorted(at_node(data)) == sorted(held(page)), "the node to hold what the tablet holds, once each")


def downloaded(page: Page, expression: str) -> dict:
    with page.expect_download() as download:
        page.evaluate(expression)
    return json.loads(Path(download.value.path()).read_text("utf-8"))
