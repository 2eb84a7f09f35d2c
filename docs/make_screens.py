"""Takes the pictures of docs/screens from the running demo: `make screens`, or `python -m docs.make_screens --all DIR`.

The handful the README shows go to docs/screens, small. `--all DIR` takes every step of a visit, the wax plan, the lists
and the pages of the other two users, at three sizes, to be looked at by whoever changes a page.
"""

import argparse
import io
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from chairapp.case import entries_of, read_case
from chairapp.sequence import document, jaw_relation
from sync.entry import canonical
from tests.browser.chair import Chair
from tests.browser.conftest import Process, free_port, until
from tests.chromium import ARGS, CHROMIUM

SIZES = {"wide": (1024, 768), "tall": (768, 1024), "phone": (390, 844)}
HERE = Path(__file__).parent / "screens"
CASES = sorted(str(path) for path in Path("demo_cases").glob("*.json"))
README = {
    "tablet-question": ("tilted plane", "walk", "plane/plane.front"),
    "tablet-wax-plan": ("tilted plane", "wax", ""),
    "tablet-review": ("marks too close", "walk", "review/review"),
}
COLOURS = 96


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--all", type=Path, metavar="DIR")
    given = parser.parse_args()
    with demo() as (chair, clinic), sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        if given.all:
            given.all.mkdir(parents=True, exist_ok=True)
            for size in SIZES:
                every_page(browser, chair, clinic, size, given.all)
        else:
            for_the_readme(browser, chair, clinic)
        browser.close()


def for_the_readme(browser: Browser, chair: str, clinic: str) -> None:
    page, visits = tablet(browser, chair, "wide")
    for name, (case, screen, where) in README.items():
        take(page, f"{chair}/chair#/{screen}/{visits[case]}/{where}", HERE / f"{name}.png")
    page = browser.new_page(viewport={"width": 1024, "height": 768})
    take(page, f"{chair}/label", HERE / "label-queue.png")
    take(page, f"{clinic}/audit", HERE / "audit-list.png")


def every_page(browser: Browser, chair: str, clinic: str, size: str, folder: Path) -> None:
    page, visits = tablet(browser, chair, size)
    for case, visit in visits.items():
        take(page, f"{chair}/chair#/wax/{visit}", folder / f"{size}-wax-{case}.png")
    visit = visits["tilted plane"]
    for step, item in page.evaluate(ITEMS, visit):
        take(page, f"{chair}/chair#/walk/{visit}/{step}/{item}", folder / f"{size}-{item}.png")
    for place in ("", "new", "staff", "data", f"change/{visit}", f"accept/{visit}/plane"):
        take(page, f"{chair}/chair#/{place}", folder / f"{size}-{place.split('/')[0] or 'visits'}.png")
    width, height = SIZES[size]
    page = browser.new_page(viewport={"width": width, "height": height})
    take(page, f"{chair}/", folder / f"{size}-home.png")
    take(page, f"{chair}/label", folder / f"{size}-label.png")
    page.locator("main a[href*='/label/'], main a[href*='/B/']").first.click()
    shoot(page, folder / f"{size}-label-one.png")
    take(page, f"{clinic}/audit", folder / f"{size}-audit.png")
    page.locator("main a[href*='/audit/']").first.click()
    shoot(page, folder / f"{size}-audit-one.png")


# [step, item] of every screen of the walk, as the page itself orders them.
ITEMS = """() => import('tm_state').then(({desk}) => desk.sequence.steps.flatMap((step) =>
    [...step.first, ...step.items.map((item) => item.id), ...(['review', 'packing'].includes(step.id) ? [step.id] : [])]
        .map((item) => [step.id, item])))"""


def tablet(browser: Browser, chair: str, size: str) -> tuple[Page, dict[str, str]]:
    """A tablet on which somebody is signed in and the demo's visits have arrived: {case: visit id} by its scenario."""
    width, height = SIZES[size]
    page = browser.new_page(viewport={"width": width, "height": height})
    page.goto(f"{chair}/chair")
    Chair(page, {}).sign_in("clin-1")
    until(lambda: page.locator("a.visit").count() >= len(CASES), "the demo's visits on the tablet")
    return page, by_scenario(page)


def by_scenario(page: Page) -> dict[str, str]:
    """{case: visit id}: which visit on the tablet is which file of demo_cases, by what was answered in it."""
    cases = {_said(entries_of(case, document(jaw_relation()))): case.name for case in map(read_case, CASES)}
    return {cases[_said(entries)]: visit for visit, entries in page.evaluate(VISITS)}


def _said(entries: list[dict[str, Any]]) -> frozenset[bytes]:
    return frozenset(canonical([one["item"], one["value"]]) for one in entries if one["kind"] in ("answer", "reading"))


VISITS = """() => import('tm_replica').then(async (replica) => Promise.all(
    (await replica.visits()).map(async ({visit}) => [visit, await replica.entries(visit)])))"""


DRAWN = "main h1"


def take(page: Page, url: str, to: Path) -> None:
    # By way of an empty page: where only what follows the # differs, the screen before would still be there to be seen.
    page.goto("about:blank")
    page.goto(url)
    shoot(page, to)


def shoot(page: Page, to: Path) -> None:
    page.wait_for_load_state("networkidle")
    until(lambda: page.locator(DRAWN).count(), f"{page.url} to be drawn")
    picture = Image.open(io.BytesIO(page.screenshot())).convert("RGB").quantize(COLOURS)
    picture.save(to, optimize=True)
    print(to, f"{to.stat().st_size / 1000:.0f} kB")


@contextmanager
def demo() -> Iterator[tuple[str, str]]:
    port = free_port()
    with tempfile.TemporaryDirectory() as folder:
        command = [str(Path(sys.executable).parent / "threemark"), "demo", "--no-browser", "--port", str(port)]
        process = Process(command, f"http://127.0.0.1:{port}/", Path(folder) / "demo.log").start()
        try:
            yield f"http://127.0.0.1:{port}", f"http://127.0.0.1:{port + 10}"
        finally:
            process.stop()


if __name__ == "__main__":
    main()
