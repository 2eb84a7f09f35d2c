"""A whole visit judged, from its entries to the verdict: in CPython, and in the browser with the bundle that ships.

The visits are the demo's, each asked in turn. Chromium slows only a page's own thread, never a worker: at 4x the
worker's own script runs on the page's thread. Judged: entries as JSON in, verdict as JSON out. Seen: what the tablet
asks for at every tap, the settled state and the verdict with all words, there and back.
"""

import json
import time
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from statistics import median
from typing import Any

from playwright.sync_api import CDPSession, Page, Route, sync_playwright

from bench import Row
from chairapp.case import case_of, entries_of
from chairapp.judge import judge
from chairapp.sequence import document, jaw_relation
from chairapp.sequence.view import view
from chairapp.tablet.bundle import brython, bundle
from tests.chromium import ARGS, CHROMIUM

CASES = Path(__file__).parents[1] / "demo_cases"
SEQUENCE = document(jaw_relation())
ROUNDS = 12
SLOWER = 4
CPYTHON_MS = 2
BROWSER_MS = 20

# The worker's script on the page's own thread: what it would load is loaded, what it would post is kept.
ON_THE_PAGE = """document => {
  globalThis.importScripts = () => {};
  let posted;
  globalThis.postMessage = (data) => { posted = data; };
  const kept = (data) => { onmessage({ data }); return posted; };
  globalThis.seen = (payload) => kept({ ask: 1, fn: "view", payload }).out;
  kept({ boot: {} });
  kept({ sequence: "doc", document });
}"""
JUDGED = """
from browser import self as scope
from javascript import JSON
from chairapp.judge import judge

def judged(payload):
    return JSON.stringify(judge(kept[0], JSON.parse(payload)["entries"]))

kept = [JSON.parse(scope.sequence_text)]
scope.judged = judged
"""
DEFINE_JUDGED = """([source, text]) => {
  globalThis.sequence_text = text;
  __BRYTHON__.runPythonSource(source, { name: "judged" });
}"""
TIMED = """([name, payloads]) => payloads.map((payload) => {
  const began = performance.now();
  globalThis[name](payload);
  return performance.now() - began;
})"""
IN_A_WORKER = """document => new Promise((done, failed) => {
  const worker = new Worker("/judge_worker.js");
  worker.onerror = (event) => failed(new Error(event.message));
  worker.onmessage = ({ data }) => {
    if (!data.ready) return failed(new Error(data.error));
    worker.postMessage({ sequence: "doc", document });
    globalThis.ask = (payload) => new Promise((told) => {
      worker.onmessage = ({ data }) => told(data.out);
      worker.postMessage({ ask: 1, fn: "view", payload });
    });
    return done();
  };
  worker.postMessage({ boot: { brython: "/brython.js", bundle: "/bundle.js" } });
})"""
TIMED_ASKS = """async payloads => {
  const took = [];
  for (const payload of payloads) {
    const began = performance.now();
    await ask(payload);
    took.push(performance.now() - began);
  }
  return took;
}"""


def run() -> list[Row]:
    visits = [entries_of(case_of(json.loads(path.read_text())), SEQUENCE) for path in sorted(CASES.glob("*.json"))]
    payloads = [json.dumps({"sequence": "doc", "entries": entries}) for entries in visits]
    rows = [
        _row("judged in CPython", _timed(judge, visits), CPYTHON_MS),
        _row("seen in CPython", _timed(view, visits)),
    ]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        rows += _in_the_browser(browser.new_page(), payloads)
        browser.close()
    entries = median(len(entries) for entries in visits)
    return [*rows, Row("entries a visit", float(entries), "entries")]


def _in_the_browser(page: Page, payloads: list[str]) -> list[Row]:
    page.route("**/*", _serve)
    page.goto("http://localhost/")
    text = json.dumps(SEQUENCE)
    page.evaluate(IN_A_WORKER, text)
    page.evaluate(ON_THE_PAGE, text)
    page.evaluate(DEFINE_JUDGED, [JUDGED, text])
    session = page.context.new_cdp_session(page)

    def of(name: str) -> Callable[[], Any]:
        return lambda: page.evaluate(TIMED, [name, payloads])

    arms = {
        "seen in the browser, by the worker": (1, lambda: page.evaluate(TIMED_ASKS, payloads)),
        "judged in the browser": (1, of("judged")),
        "seen in the browser": (1, of("seen")),
        f"judged in the browser, {SLOWER}x slower": (SLOWER, of("judged")),
        f"seen in the browser, {SLOWER}x slower": (SLOWER, of("seen")),
    }
    times: dict[str, list[float]] = {name: [] for name in arms}
    for turn in range(ROUNDS):
        for name, (slower, call) in arms.items():
            _slow(session, slower)
            took = call()
            # the first turn is for the browser to warm up
            times[name] += took if turn else []
    return [_row(name, times[name], BROWSER_MS if arms[name][0] > 1 else None) for name in arms]


def _slow(session: CDPSession, rate: int) -> None:
    session.send("Emulation.setCPUThrottlingRate", {"rate": rate})


def _timed(call: Callable[..., object], visits: list[Any]) -> list[float]:
    """Milliseconds of each call, every visit in every round but the first."""
    times = []
    for turn in range(ROUNDS):
        for entries in visits:
            began = time.perf_counter()
            call(SEQUENCE, entries)
            if turn:
                times.append((time.perf_counter() - began) * 1000)
    return times


def _row(what: str, times: list[float], most: float | None = None) -> Row:
    middle = median(times)
    if most is None:
        return Row(what, middle)
    return Row(what, middle, "ms", middle / most, f"{most} ms", "<= 1")


def _serve(route: Route) -> None:
    """The worker's files, and a page that has loaded them too; nothing is asked of any host."""
    scripts = {"brython.js": brython, "bundle.js": bundle, "judge_worker.js": _worker}
    found = scripts.get(route.request.url.rpartition("/")[2])
    if found:
        route.fulfill(body=found(), content_type="text/javascript")
    else:
        tags = "".join(f"<script src='/{name}'></script>" for name in scripts)
        route.fulfill(body=f"<!doctype html>{tags}", content_type="text/html")


def _worker() -> str:
    return (files("chairapp.tablet") / "judge_worker.js").read_text("utf-8")
