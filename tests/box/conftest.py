"""Boxes at a desk: demo cases as visits in memory, and entries as a node or a tablet would add them."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from chairapp.box.desk import Desk
from chairapp.case import case_of, entries_of
from chairapp.people.demo import demo_clinic
from chairapp.register import Register
from chairapp.sequence import digest, document, jaw_relation
from sync.entry import Stamper, frontier
from sync.store import Touched, TouchedPage

CASES = Path(__file__).parents[2] / "demo_cases"
SEQUENCE = document(jaw_relation())
CLINIC = demo_clinic(digest(SEQUENCE), "rims.example")


class Shelf:
    """Visits in memory, with as much of a store as a register needs."""

    def __init__(self):
        self.visits_held = {}

    def add(self, entries):
        for entry in entries:
            held = self.visits_held.setdefault(entry["visit"], [])
            if entry not in held:
                held.append(entry)

    def visit(self, visit):
        return sorted(self.visits_held.get(visit, []), key=lambda entry: (*entry["clock"], entry["id"]))

    def visits(self, cursor=None, limit=500):
        touched = [Touched(visit, len(entries), 0) for visit, entries in self.visits_held.items()]
        return TouchedPage(touched, cursor or "", False)


class Clock:
    """Stands still until it is told to go on."""

    def __init__(self):
        self.now = datetime(2026, 1, 5, 9, 0, tzinfo=UTC)

    def on(self, **by):
        self.now += timedelta(**by)

    def __call__(self):
        return self.now

    def ms(self):
        return int(self.now.timestamp() * 1000)


@pytest.fixture
def shelf():
    return Shelf()


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def add(shelf):
    """Add a demo case as a visit; gives its entries."""

    def add(name, **changes):
        raw = json.loads((CASES / f"{name}.json").read_text()) | changes
        entries = entries_of(case_of(raw), SEQUENCE, device="tablet")
        shelf.add(entries)
        return entries

    return add


def desk_at(shelf, clock, node="node", clinic=CLINIC):
    """The desk of a node that holds what is on this shelf."""
    stamper = Stamper(node, wall=clock.ms)

    def write(visit, kind, item, value, author):
        entries = shelf.visit(visit)
        for entry in entries:
            stamper.merge(entry)
        seen = frontier(entries, ["adjustment"])
        shelf.add([stamper.entry(visit, kind, author=author, item=item, value=value, seen=seen)])

    register = Register(shelf, lambda name: SEQUENCE if name == digest(SEQUENCE) else None)
    return Desk(register, lambda: clinic, lambda: "https://rims.example", (57, 32), write, now=clock)


@pytest.fixture
def desk(shelf, clock):
    return desk_at(shelf, clock)


@pytest.fixture
def the_box(desk):
    """The only box at the desk, as it is by now."""

    def the_box():
        (placed,) = [placed for boxes in desk.places().values() for placed in boxes]
        return only(desk.find(placed.line.code))

    return the_box


def only(boxes):
    (box,) = boxes
    return box


def later(entries, **fields):
    last = max(entries, key=lambda entry: entry["clock"])
    stamper = Stamper("tablet", wall=lambda: last["clock"][0] + 60_000)
    seen = frontier(entries, ["adjustment"])
    return stamper.entry(entries[0]["visit"], fields.pop("kind"), author="clin-1", seen=seen, **fields)
