"""The tablet page of a real node in a real Chromium: what a tap waits for, and how soon the page is there offline.

Every few taps a new visit, which holds a demo case's answers already, as one that is nearly done does. Stored and
painted: from the click until the frame with the answer, which the page draws only once the entry is on the disk. Start:
the browser closed and opened anew on what it kept, the network off; usable is the first frame with the names to sign in
by, or the visits. Chromium slows the page's thread and no worker, so at 4x the time the worker itself says it took is
multiplied afterwards.
"""

import json
import statistics
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from playwright.sync_api import CDPSession, Page, sync_playwright

from bench import Row
from chairapp.case import case_of, entries_of
from chairapp.sequence import document, jaw_relation
from tests.browser.chair import Chair
from tests.browser.conftest import Processes, Tablet, free_port, until

CASE = Path(__file__).parents[1] / "demo_cases" / "01_all_fits.json"
SEQUENCE = document(jaw_relation())
VISITS = 5
TAPS = 8  # in each visit
WARM = 1
STARTS = 10
SLOWER = 4
GATES_MS = {1: {"painted": 50, "verdict": 80, "start": 800}, SLOWER: {"painted": 150, "verdict": 250, "start": 2500}}

# Notes when the judge is ready, how long its worker was at each kind of question, when the page could first be used.
WATCHED = """
globalThis.measured = {};
globalThis.painted = () => new Promise((done) => requestAnimationFrame(() => {
  const { port1, port2 } = new MessageChannel();
  port1.onmessage = () => done(performance.now());
  port2.postMessage(0);
}));
const Bare = Worker;
globalThis.Worker = class extends Bare {
  constructor(...given) {
    super(...given);
    this.addEventListener("message", ({ data }) => {
      if (data.ready) measured.ready ??= performance.now();
      else if (data.ask) measured[this.fn] = (measured[this.fn] ?? 0) + data.ms;
    });
  }
  postMessage(told) {
    if (told.ask) this.fn = told.fn;
    super.postMessage(told);
  }
};
const looking = new MutationObserver(() => {
  if (!document.querySelector("[data-staff], .new-visit")) return;
  looking.disconnect();
  painted().then((at) => { measured.usable = at; });
});
looking.observe(document, { childList: true, subtree: true });
"""
FILL = """async ([visit, drafts]) => {
  const replica = await import("tm_replica");
  await replica.addMany(drafts.map((draft) => ({ ...draft, visit })));
}"""
# One tap: [ms until a painted frame shows it, ms until one shows the new verdict, ms the worker checked what was typed,
# ms it judged]. A choice shows by its own button, a reading by one more in the list.
TAP = """async (selector) => {
  const { desk } = await import("tm_state"), { watch } = await import("vue");
  const button = document.querySelector(selector), readings = () => document.querySelectorAll(".reading").length;
  const before = readings();
  const holds = () => button.getAttribute("aria-pressed") === "true" || readings() > before;
  Object.assign(measured, { check: 0, view: 0 });
  const judged = new Promise((done) => {
    const stop = watch(() => desk.verdict, () => { stop(); painted().then(done); }, { flush: "post" });
  });
  const shown = new Promise((done) => {
    const look = new MutationObserver(() => { if (holds()) { look.disconnect(); painted().then(done); } });
    look.observe(document.body, { childList: true, subtree: true, attributes: true });
  });
  const began = performance.now();
  button.click();
  const [painting, judging] = await Promise.all([shown, judged]);
  return [painting - began, judging - began, measured.check, measured.view];
}"""

Times = list[float]


def run() -> list[Row]:
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder, port = Path(name), free_port()
        processes = Processes(folder)
        url = f"http://127.0.0.1:{port}"
        threemark = str(Path(sys.executable).parent / "threemark")
        processes([threemark, "clinic", "--demo", "yes", "--data", str(folder / "data"), "--port", str(port)], url)
        tablet = Tablet(playwright, folder / "profile", viewport={"width": 1024, "height": 768})
        try:
            rows = _taps(tablet, url + "/chair")
            processes.kill()
            return rows + _starts(tablet, url + "/chair")
        finally:
            tablet.close()
            processes.kill()


def _taps(tablet: Tablet, url: str) -> list[Row]:
    tablet.context.add_init_script(WATCHED)
    hand = Chair(tablet.open(url), {})
    hand.sign_in("clin-1")
    slowing = hand.page.context.new_cdp_session(hand.page)
    rows: list[Row] = []
    times: dict[tuple[str, int], list[Times]] = {}
    for _ in range(VISITS):
        for slower in (1, SLOWER):
            _new_visit(hand)
            _slow(slowing, slower)
            for what, tap in (("choice", _choice), ("reading", _reading)):
                times.setdefault((what, slower), []).extend([tap(hand) for _ in range(WARM + TAPS)][WARM:])
            _slow(slowing, 1)
    for (what, slower), taps in times.items():
        rows += _tap_rows(what, taps, slower)
    ready = "import('tm_state').then((page) => Boolean(page.lamp.release.offlineReady))"
    until(lambda: hand.page.evaluate(ready), "the page to be kept for use offline")
    return rows


def _new_visit(hand: Chair) -> None:
    hand.page.evaluate("location.hash = ''")
    visit = hand.open_visit("1")
    hand.page.evaluate(FILL, [visit, _drafts()])
    until(lambda: len(hand.entries()) > len(_drafts()), "the visit to be filled")


def _drafts() -> list[dict[str, Any]]:
    """What the case says, as a person of this clinic would write it."""
    entries = entries_of(case_of(json.loads(CASE.read_text())), SEQUENCE)
    told = [entry for entry in entries if entry["kind"] in ("answer", "reading")]
    return [{**{name: entry[name] for name in ("kind", "item", "value")}, "author": "clin-1"} for entry in told]


def _choice(hand: Chair) -> Times:
    _show(hand, "seating", "seating.upright")
    return hand.page.evaluate(TAP, '.choice[aria-pressed="false"]')


def _reading(hand: Chair) -> Times:
    _show(hand, "display", "display.rest")
    hand.field.fill("2.0")
    return hand.page.evaluate(TAP, ".keypad .take")


def _show(hand: Chair, step: str, item: str) -> None:
    hand.page.evaluate("(to) => { location.hash = to; }", f"#/walk/{hand.route()[1]}/{step}/{item}")
    hand.page.locator(f'.question[data-item="{item}"]').wait_for()


def _tap_rows(what: str, taps: Sequence[Times], slower: int) -> list[Row]:
    painted = [shown + (slower - 1) * checking for shown, _, checking, _ in taps]
    judged = [seen + (slower - 1) * (checking + judging) for _, seen, checking, judging in taps]
    gates = GATES_MS[slower]
    return [
        *_spread(f"{what} to stored and painted", painted, slower, gates["painted"]),
        *_spread(f"{what} to verdict", judged, slower, gates["verdict"]),
    ]


def _starts(tablet: Tablet, url: str) -> list[Row]:
    rows = []
    for slower in (1, SLOWER):
        found = [_start(tablet, url, slower) for _ in range(STARTS)]
        usable, ready = ([one[n] for one in found] for n in (0, 1))
        rows.append(
            _row(f"cold offline start to usable, {slower}x", statistics.median(usable), GATES_MS[slower]["start"])
        )
        rows.append(Row(f"p95 of the same, {slower}x", _p95(usable)))
        rows.append(Row(f"cold offline start to judge ready, {slower}x", statistics.median(ready)))
        rows.append(Row(f"p95 of the same, {slower}x", _p95(ready)))
    return rows


def _start(tablet: Tablet, url: str, slower: int) -> Times:
    tablet.restart()
    tablet.context.set_offline(True)
    tablet.context.add_init_script(WATCHED)
    page: Page = tablet.page
    _slow(page.context.new_cdp_session(page), slower)
    page.goto(url)
    until(lambda: page.evaluate("Boolean(measured.usable && measured.ready)"), "the page and its judge")
    return page.evaluate("[measured.usable, measured.ready]")


def _slow(session: CDPSession, rate: int) -> None:
    session.send("Emulation.setCPUThrottlingRate", {"rate": rate})


def _spread(what: str, times: Times, slower: int, most: int) -> list[Row]:
    return [
        Row(f"{what}, {slower}x, p50", statistics.median(times)),
        _row(f"{what}, {slower}x, p95", _p95(times), most),
    ]


def _row(what: str, value: float, most: int) -> Row:
    return Row(what, value, "ms", value / most, f"{most} ms", "<= 1")


def _p95(times: Times) -> float:
    return statistics.quantiles(times, n=20, method="inclusive")[-1]
