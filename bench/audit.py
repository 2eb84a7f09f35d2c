"""The manager's list, one visit and a month's figures over 1,000 and 10,000 visits; taking in while summing up.

20 visits a day of 60 entries, so that a larger clinic is an older one and a month holds as many. In SQLite. Each is
summed up from its own entries as an invented visit that was really judged; only the judging is left out. Sizes are
compared by processor time, which a busy machine changes less. The follower rests four times as long as it works while
entries come in, so 1.25 of the time is expected; the gate leaves room for a busy machine. How many it summed up
meanwhile stands beside it: one that slept costs nothing.
"""

import asyncio
import contextlib
import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from bench import Row
from bench.save import ENTRIES_A_VISIT, Maker
from chairapp.audit.asked import Asked
from chairapp.audit.figures import Figures
from chairapp.audit.following import keep_following
from chairapp.audit.lines import SummaryIndex
from chairapp.audit.listing import Listing
from chairapp.audit.summary import Summaries
from chairapp.audit.summed import Summed, Summing
from chairapp.people.demo import demo_clinic
from chairapp.register import Register
from sync.entry import Entry
from sync.errors import StoreError
from sync.sql_store import SqlStore
from sync.store import BATCH
from tests.audit.conftest import DAY_MS, DIGEST, MORNING, label_on, sequence_of, start, visit

SIZES = (1_000, 10_000)
A_DAY = 20
ROUNDS = 60
BLOCKS = 5
BLOCK = 60
FATES = 84
"""Invented visits that are judged, for all the others to be like."""
CLINIC = demo_clinic(DIGEST, "rims.example")
Question = Callable[[], object]

_SIGNED = {"kind": "signature", "item": "review", "value": {"role": "clinician"}}
_ACCEPTED = {"kind": "acceptance", "item": "display", "value": "long lip"}
_LATE = {"kind": "answer", "item": "display.fv", "value": "short"}
_SENT, _BACK, _FINISHED = (
    {"kind": "movement", "item": "box", "value": {"to": place}} for place in ("laboratory", "clinic", "finished")
)
_RIGHT = dict.fromkeys(("vertical", "centric", "plane", "midline", "display"), "right") | {"repeat": False, "why": ""}
_AGAIN = _RIGHT | {"repeat": True, "why": "closes too low"}
_TRIED, _REPEATED = ({"kind": "outcome", "item": "try_in", "value": value} for value in (_RIGHT, _AGAIN))
_KINDS: tuple[dict[str, Any], ...] = (
    {"more": (_SIGNED, _SENT, _BACK, _TRIED, _FINISHED)},
    {"more": (_SIGNED, _SENT, _BACK, _TRIED, _FINISHED)},
    {"more": (_ACCEPTED, _SIGNED, _SENT, _BACK, _REPEATED), "display__rest": [3]},
    {"more": (_SIGNED, _SENT)},
    {"more": (_SIGNED,), "lip__support": None},
    {"more": (_SIGNED, _LATE)},
    {"more": ()},
)


def run() -> list[Row]:
    with tempfile.TemporaryDirectory() as folder, contextlib.ExitStack() as stack:
        arms = {size: _arm(stack, Path(folder) / f"{size}.sqlite", size) for size in SIZES}
        return [*_answered(arms), *_taken_in(Path(folder))]


def made(number: int) -> list[Entry]:
    """The visit of this number: of one of the ordinary fates, by one of three clinicians at one of four chairs."""
    kind = dict(_KINDS[number % len(_KINDS)])
    more = kind.pop("more")
    who, chair = f"clin-{1 + number % 3}", str(1 + number % 4)
    return visit(*more, days=number / A_DAY, author=who, chair=chair, name=str(number), **kind)


def questions(summaries: Summaries, size: int) -> dict[str, Question]:
    """What a manager asks of summaries of `size` visits, A_DAY a day since MORNING; each is asked of the database."""
    last = datetime.fromtimestamp(MORNING / 1000, UTC) + timedelta(days=size / A_DAY)
    listing, figures = Listing(summaries, lambda: CLINIC, now=lambda: last), Figures(summaries, lambda: CLINIC)
    month = _month_before(last.date())
    middle = listing.page(Asked(until=last.date() - timedelta(days=size // A_DAY // 2))).older
    return {
        "first page of the list": lambda: listing.page(Asked()),
        "a page from the middle": lambda: listing.page(Asked(), middle),
        "first page of what was accepted": lambda: listing.page(Asked(only="accepted")),
        "first page of overdue boxes": lambda: listing.page(Asked(only="overdue")),
        "first page of one clinician's unsigned": lambda: listing.page(Asked(clinician="clin-1", only="unsigned")),
        "counts over the list": lambda: listing.counts(Asked()),
        "a month's figures, all of them": lambda: _all_figures(figures, month),
    }


def _month_before(last: date) -> Asked:
    return Asked(since=last - timedelta(days=30), until=last)


def _all_figures(figures: Figures, month: Asked) -> None:
    asked = (figures.steps, figures.reasons, figures.months, figures.steady, figures.distances)
    for figure in (*asked, figures.outcomes, figures.agreement):
        figure(month)


# ---- what is asked, at every size in turn


def _arm(stack: contextlib.ExitStack, file: Path, size: int) -> dict[str, Question]:
    store = stack.enter_context(contextlib.closing(SqlStore(f"sqlite:///{file}")))
    maker, summaries = Maker(), Summaries(store, MadeUp())
    for _ in range(0, size * ENTRIES_A_VISIT, BATCH):
        store.add([maker.next() for _ in range(BATCH)])
    summaries.catch_up()
    one = one_visit(store, summaries, size, ROUNDS)
    return questions(summaries, size) | {"one visit, judged": one}


def one_visit(store: SqlStore, summaries: Summaries, after: int, times: int) -> Question:
    """What a visit's page is made from, each time of another one, so that none is kept from before.

    They are put in first, as those that come after so many.
    """
    judged = [made(number) for number in range(after, after + times)]
    for entries in judged:
        store.add(entries)
    summaries.catch_up()
    register = Register(store, sequence_of)
    register.stand_on(SummaryIndex(store, summaries))
    some = iter([str(entries[0]["visit"]) for entries in judged])

    def one() -> None:
        name = next(some)
        register.line(name)
        register.view(name)
        store.received(name)

    return one


class MadeUp:
    """Sums a visit up as the invented one it is like, A_DAY a day in the order in which they came."""

    def __init__(self) -> None:
        sum_up = Summing(sequence_of, label_on)
        self._like = [sum_up(entries[0]["visit"], entries) for entries in map(made, range(FATES))]
        self._numbers: dict[str, int] = {}

    def __call__(self, visit: str, entries: list[Entry]) -> Summed:
        number = self._numbers.setdefault(visit, len(self._numbers))
        like = self._like[number % FATES]
        opened = {"opened_ms": int(MORNING + number / A_DAY * DAY_MS)}
        row = {**like.visit, "visit": visit, "entries": len(entries), **opened}
        flags = [{**flag, "visit": visit, **opened} for flag in like.flags]
        rest = ([{**row, "visit": visit} for row in rows] for rows in (like.steps, like.series, like.checks))
        return Summed(row, flags, *rest)


def _answered(arms: dict[int, dict[str, Question]]) -> Iterator[Row]:
    least = min(arms)
    for name in arms[least]:
        times: dict[int, list[tuple[float, float]]] = {size: [] for size in arms}
        for _ in range(ROUNDS):
            for size, asked in arms.items():
                times[size].append(_took(asked[name]))
        ms = {
            size: [statistics.median(took) * 1000 for took in zip(*found, strict=True)] for size, found in times.items()
        }
        wanted = 1000 if "figures" in name else 100
        for size, (value, worked) in ms.items():
            at = f"{name}, {size:,} visits"
            yield Row(at, value, "ms", value / wanted, f"{wanted} ms", "<= 1")
            # Counting stops at a thousand, so that a clinic with fewer has less to count.
            if size > least and not name.startswith(("counts", "a month")):
                yield Row(f"{at}, processor", worked, "ms", worked / ms[least][1], f"{least:,} visits", "<= 2")


def _took(question: Question) -> tuple[float, float]:
    """Seconds, and seconds of processor time; the database works in the same thread."""
    began = time.thread_time()
    seconds = _seconds(question)
    return seconds, time.thread_time() - began


# ---- taking in


def _taken_in(folder: Path) -> Iterator[Row]:
    """Visits put in one by one, in blocks, by turns with nobody summing up and with a follower at it."""
    numbers = iter(range(2 * BLOCKS * BLOCK))
    alone: list[float] = []
    followed: list[float] = []
    summed: list[int] = []
    with (
        contextlib.closing(SqlStore(f"sqlite:///{folder}/alone.sqlite")) as plain,
        contextlib.closing(SqlStore(f"sqlite:///{folder}/followed.sqlite")) as store,
    ):
        summaries = start(store)
        for _ in range(BLOCKS):
            alone.append(_block(plain, numbers))
            with _following(store, summaries):
                followed.append(_block(store, numbers))
                summed.append(BLOCK - summaries.as_of().behind)
            summaries.catch_up()
    a, b = statistics.median(alone), statistics.median(followed)
    yield Row("taking one visit in, nobody summing up", a / BLOCK * 1000)
    yield Row("taking one visit in, summaries following", b / BLOCK * 1000, "ms", b / a, "nobody", "<= 1.5")
    yield Row(f"summed up meanwhile, of {BLOCK} visits", statistics.median(summed), "visits")


def _block(store: SqlStore, numbers: Iterator[int]) -> float:
    """Seconds to put BLOCK visits in; making them is not counted."""
    visits = [made(next(numbers)) for _ in range(BLOCK)]
    return _seconds(lambda: [store.add(entries) for entries in visits])


@contextlib.contextmanager
def _following(store: SqlStore, summaries: Summaries) -> Iterator[None]:
    """As in a server: a task of an event loop in a thread of its own, ended with the block."""
    loop = asyncio.new_event_loop()
    task = loop.create_task(keep_following(store, summaries, _failed))
    thread = threading.Thread(target=loop.run_until_complete, args=(asyncio.wait([task]),))
    thread.start()
    try:
        yield
    finally:
        loop.call_soon_threadsafe(task.cancel)
        thread.join()
        loop.run_until_complete(loop.shutdown_default_executor())
        loop.close()


def _failed(error: StoreError) -> None:
    raise error


def _seconds(call: Question) -> float:
    began = time.perf_counter()
    call()
    return time.perf_counter() - began
