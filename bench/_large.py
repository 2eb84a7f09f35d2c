"""A clinic's years in one database: what is put in and what is asked for, as it grows. `make bench-large`.

    python -m bench._large [--visits N] [--on SQLite|PostgreSQL]

Fills SQLite, and PostgreSQL where it is installed, through the store itself (checks by the database, chain, list of
visits, marks for summaries, a commit that waits for the disk), 60 entries a visit, 500 a batch, and writes LARGE.md.

The manager's summaries are caught up and asked after a hundredth of the visits and after all of them, in the same
database. Every visit is summed up from its own entries, but as an invented visit that was really judged, under its own
name and day: so the rows and their order are those of a clinic, and only the judging, which takes as long for the last
visit as for the first, is left out. What one visit's page is made from is asked of some that are really judged.
"""

import argparse
import contextlib
import os
import platform
import random
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import pytest

from bench.audit import MadeUp, one_visit, questions
from bench.save import ENTRIES_A_VISIT, Maker
from chairapp.audit.summary import Summaries
from sync.sql_store import SqlStore
from sync.store import BATCH, cursor_at
from tests.sync.postgres import running

VISITS = 20_000
PARTS = 10
ASKED = 200
JUDGED = 60
PAGE = 50


class Filled(NamedTuple):
    """How a store took its entries: entries/s of each tenth, µs of processor time here for each, and what was asked."""

    name: str
    rates: list[float]
    work: list[float]
    asked: dict[str, tuple[float, float]]
    size: str


class Audited(NamedTuple):
    """The manager's questions, ms, of `few` visits and of all; `rate` is how many were summed up in a second."""

    name: str
    few: int
    rate: float
    before: dict[str, tuple[float, float]]
    after: dict[str, tuple[float, float]]


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--visits", type=int, default=VISITS)
    asked.add_argument("--on", choices=("SQLite", "PostgreSQL"), help="one of the two only")
    args = asked.parse_args()
    began = time.perf_counter()
    found = [_measured(name, url, args.visits) for name, url in _databases(args.on)]
    filled, audited = [one for one, _ in found], [one for _, one in found]
    text = _report(args.visits, filled, audited, time.perf_counter() - began)
    (Path(__file__).parent / "LARGE.md").write_text(text)
    print(text)


def _databases(only: str | None) -> Iterator[tuple[str, str]]:
    if only != "PostgreSQL":
        with tempfile.TemporaryDirectory() as folder:
            yield "SQLite", f"sqlite:///{folder}/clinic.sqlite"
    if only != "SQLite":
        try:
            with running(durable=True) as url:
                yield "PostgreSQL", url
        except pytest.skip.Exception as skipped:
            print(f"bench large: {skipped}")


def _measured(name: str, url: str, visits: int) -> tuple[Filled, Audited]:
    maker, few = Maker(), visits // 100
    first: list[str] = []
    rates: list[float] = []
    work: list[float] = []
    with contextlib.closing(SqlStore(url)) as store:
        summaries = Summaries(store, MadeUp())
        _fill(store, maker, few * ENTRIES_A_VISIT, first)
        before = _asked(store, summaries, few)
        for part in range(PARTS):
            rate, worked = _fill(store, maker, (visits - few) // PARTS * ENTRIES_A_VISIT, first)
            rates.append(rate)
            work.append(worked)
            print(f"{name}: {(part + 1) * 100 // PARTS} % at {rates[-1]:,.0f} entries/s", flush=True)
        filled = Filled(name, rates, work, _questions(store, maker, first), _size(store, url))
        rate = (visits - few) / _seconds(summaries.catch_up)
        print(f"{name}: {visits:,} visits summed up, {rate:,.0f} a second", flush=True)
        return filled, Audited(name, few, rate, before, _asked(store, summaries, visits))


def _asked(store: SqlStore, summaries: Summaries, visits: int) -> dict[str, tuple[float, float]]:
    """The manager's questions of as many visits: median and 95th percentile, in ms."""
    one = {"one visit, judged": _timed(one_visit(store, summaries, visits, JUDGED), JUDGED)}
    return {name: _timed(question) for name, question in questions(summaries, visits).items()} | one


def _fill(store: SqlStore, maker: Maker, count: int, visits: list[str]) -> tuple[float, float]:
    """Entries/s, and µs of this process's time an entry, which a busy machine changes less; making them not counted.

    The visits they belong to are added to `visits`.
    """
    seconds = worked = 0.0
    for start in range(0, count, BATCH):
        batch = [maker.next() for _ in range(min(BATCH, count - start))]
        before = time.process_time()
        seconds += _seconds(lambda batch=batch: store.add(batch))
        worked += time.process_time() - before
        visits += dict.fromkeys(entry["visit"] for entry in batch if not visits or entry["visit"] != visits[-1])
    return count / seconds, worked / count * 1e6


def _questions(store: SqlStore, maker: Maker, visits: list[str]) -> dict[str, tuple[float, float]]:
    """Median and 95th percentile, in ms."""
    chance = random.Random(1)
    some = iter(chance.choices(visits, k=10 * ASKED))
    epoch, end, _ = store.head()

    def anywhere() -> str:
        return cursor_at(epoch, chance.randrange(end))

    questions: dict[str, Callable[[], object]] = {
        "all entries of one visit": lambda: store.visit(next(some)),
        "one visit's line": lambda: store.touched(next(some)),
        f"{PAGE} visits of the list, from anywhere": lambda: store.visits(anywhere(), PAGE),
        f"{BATCH} entries of the feed, from anywhere": lambda: store.since(anywhere(), BATCH),
        "the device's latest entry": lambda: store.latest(maker.next()["device"]),
        "one durable entry more": lambda: store.add([maker.next()]),
    }
    return {name: _timed(question) for name, question in questions.items()}


def _timed(question: Callable[[], object], asked: int = ASKED) -> tuple[float, float]:
    times = sorted(_seconds(question) * 1000 for _ in range(asked))
    return statistics.median(times), times[asked * 95 // 100]


def _seconds(call: Callable[[], object]) -> float:
    began = time.perf_counter()
    call()
    return time.perf_counter() - began


def _size(store: SqlStore, url: str) -> str:
    if url.startswith("sqlite"):
        file = Path(url.removeprefix("sqlite:///"))
        size = sum(path.stat().st_size for path in file.parent.iterdir() if path.name.startswith(file.name))
    else:
        with store.engine.connect() as connection:
            size = connection.exec_driver_sql("SELECT pg_database_size(current_database())").scalar_one()
    return f"{size / 1e6:,.0f} MB, {size / store.head().position:,.0f} bytes an entry"


def _report(visits: int, filled: list[Filled], audited: list[Audited], seconds: float) -> str:
    today = datetime.now(UTC).strftime("%Y-%m-%d")
    names = list(filled[0].asked)
    lines = [
        "# Measured at size",
        "",
        f"{today}, {platform.system()} {platform.machine()}, {os.cpu_count()} cores (load {os.getloadavg()[0]:.1f} at"
        f" the end), Python {platform.python_version()}. {visits:,} visits, {visits * ENTRIES_A_VISIT:,} entries;"
        f" {seconds / 60:.0f} minutes with making them. `make bench-large ARGS='--visits 100000'` for another size.",
        "",
        _line("", *(one.name for one in filled)),
        _line("-", *("-" for _ in filled)),
        _line("entries/s put in, first tenth", *(f"{one.rates[0]:,.0f}" for one in filled)),
        _line("entries/s put in, last tenth", *(f"{one.rates[-1]:,.0f}" for one in filled)),
        _line("processor time of the program, µs an entry, first tenth", *(f"{one.work[0]:.0f}" for one in filled)),
        _line("processor time of the program, µs an entry, last tenth", *(f"{one.work[-1]:.0f}" for one in filled)),
        _line("on disk", *(one.size for one in filled)),
        *(_line(f"{name}, ms", *("{:.2f} (p95 {:.2f})".format(*one.asked[name]) for one in filled)) for name in names),
        *_of_the_audit(visits, audited),
    ]
    return "\n".join(lines) + "\n"


def _of_the_audit(visits: int, audited: list[Audited]) -> Iterator[str]:
    yield from ("", "## The manager's summaries", "")
    at = [f"{one.name}, {of:,} visits" for one in audited for of in (one.few, visits)]
    yield _line("", *at)
    yield _line("-", *("-" for _ in at))
    yield _line(
        "visits summed up a second, but for the judging",
        *(cell for one in audited for cell in ("", f"{one.rate:,.0f}")),
    )
    for name in audited[0].after:
        cells = [times[name] for one in audited for times in (one.before, one.after)]
        yield _line(f"{name}, ms", *("{:.2f} (p95 {:.2f})".format(*cell) for cell in cells))


def _line(*cells: str) -> str:
    return f"| {' | '.join(cells)} |"


if __name__ == "__main__":
    main()
