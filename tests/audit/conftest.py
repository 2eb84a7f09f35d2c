"""Visits as tablets write them, in a store of every sort, summed up."""

import copy
from collections.abc import Iterator

import pytest

from chairapp.audit.summary import Summaries
from chairapp.audit.summed import Summing
from chairapp.box.code import new_code
from chairapp.box.record import box_record
from chairapp.case import case_of, entries_of
from chairapp.sequence import digest, document, jaw_relation
from sync.sql_store import SqlStore
from tests.judge.visits import FITTING
from tests.sync.conftest import database, postgresql

__all__ = ["DIGEST", "SEQUENCE", "database", "label_on", "postgresql", "start", "visit"]

SEQUENCE = document(jaw_relation())
DIGEST = digest(SEQUENCE)
DAY_MS = 24 * 3600 * 1000
MORNING = 1_795_600_000_000
_MADE = {}


def sequence_of(name):
    return SEQUENCE if name == DIGEST else None


def label_on(view, words):
    return box_record(view, words).on


def start(store):
    return Summaries(store, Summing(sequence_of, label_on))


def visit(*more, days=0.0, author="clin-1", chair="1", box=None, device="tablet-1", name="", **changed):
    """A visit in which all fits but for what is changed; `more` are rows of a case that follow, such as a signature."""
    how = repr((more, days, author, chair, box, device, name, changed))
    # Working a visit out takes longer than all a test does with it, and every store is given the same ones.
    if how not in _MADE:
        _MADE[how] = _made(more, days, author, chair, box, device, name, changed)
    return copy.deepcopy(_MADE[how])


def _made(more, days, author, chair, box, device, name, changed):
    answers = {**FITTING, **{item.replace("__", "."): value for item, value in changed.items()}}
    rows = []
    for item, value in answers.items():
        if value is not None:
            many = value if isinstance(value, list) else None
            rows += [{"kind": "reading", "item": item, "value": one} for one in many or []]
            rows += [] if many else [{"kind": "answer", "item": item, "value": value}]
    raw = {"case": f"visit {days} {author} {name}", "box": box or new_code("7"), "chair": chair, "author": author}
    return entries_of(case_of(raw | {"entries": [*rows, *more]}), SEQUENCE, int(MORNING + days * DAY_MS), device)


@pytest.fixture
def store(database) -> Iterator[SqlStore]:
    store = SqlStore(database)
    yield store
    store.close()
