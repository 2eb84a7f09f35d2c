"""A seed is a morning in a clinic where everything goes wrong; afterwards nothing is lost and all agree.

`SOAK_SEEDS` and `SOAK_SECONDS` (see `make soak`) go on after the seeds of the test run, as far as the time allows.
"""

import json
import logging
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from chairapp.sequence import document, jaw_relation
from chairapp.sequence.view import view
from sync.entry import Entry
from tests.sync.sim.world import Draft, World
from tests.visits import random_visit

SEEDS = 300
CHUNK = 25

SEQUENCE = document(jaw_relation())


def _drafts() -> list[Draft]:
    """What people enter, from a few invented visits."""
    kinds = ("reading", "answer", "adjustment", "note", "check")
    entries = [entry for seed in range(3) for entry in random_visit(seed, SEQUENCE) if entry["kind"] in kinds]
    return [(entry["kind"], entry["item"], entry["value"]) for entry in entries if "erased" not in str(entry["value"])]


DRAFTS = _drafts()


def judge(entries: list[Entry]) -> str:
    return json.dumps(view(SEQUENCE, entries), sort_keys=True)


@pytest.fixture(autouse=True)
def _quiet() -> Iterator[None]:
    """Alarms are what is looked for here, and told of in the story."""
    logging.disable(logging.CRITICAL)
    yield
    logging.disable(logging.NOTSET)


@pytest.mark.parametrize("first", range(0, SEEDS, CHUNK))
def test_nothing_acknowledged_is_lost_and_all_replicas_and_verdicts_are_equal_in_the_end(
    first: int, tmp_path: Path
) -> None:
    for seed in range(first, first + CHUNK):
        _told(seed, tmp_path)


TOLD: dict[int, frozenset[str]] = {}


def _told(seed: int, folder: Path) -> frozenset[str]:
    """What happened in a morning, which is lived through once however many ask."""
    if seed not in TOLD:
        TOLD[seed] = frozenset(what for _, what, *_ in morning(seed, folder).story)
    return TOLD[seed]


def test_the_same_seed_tells_the_same_story(tmp_path: Path) -> None:
    for seed in (3, 11):
        assert morning(seed, tmp_path).story == morning(seed, tmp_path).story


def test_the_mornings_have_everything_in_them_that_may_happen(tmp_path: Path) -> None:
    told = {what for seed in range(60) for what in _told(seed, tmp_path)}
    assert told >= {
        "weather",
        "cut",
        "doom",
        "fell",
        "up",
        "closed",
        "disk full",
        "fsync fails",
        "clock",
        "strict",
        "unpaired",
        "backup",
        "restored",
        "image put back",
        "goes to",
        "failed",
    }


@pytest.mark.skipif("SOAK_SEEDS" not in os.environ, reason="only in make soak")
@pytest.mark.timeout(0)
def test_a_soak_of_as_many_mornings_as_the_time_allows(tmp_path: Path, record_property: Any) -> None:
    begun, limit = time.monotonic(), float(os.environ.get("SOAK_SECONDS", "inf"))
    wanted = int(os.environ["SOAK_SEEDS"])
    first = int(os.environ.get("SOAK_FIRST", SEEDS))
    seed = first
    while seed < first + wanted and time.monotonic() - begun < limit:
        morning(seed, tmp_path)
        seed += 1
    print(f"\nsimulation: {seed - first} of {wanted} seeds, from {first}, in {time.monotonic() - begun:.0f} s")
    assert seed > first


def morning(seed: int, folder: Path) -> World:
    """One seed, lived and checked. Every tenth has its clinic in a real SQLite file, every fifth is judged."""
    world = World(seed, DRAFTS, folder if seed % 10 == 0 else None)
    try:
        world.live()
        if seed % 5 == 0:
            world.check_verdicts(judge)
    finally:
        world.close()
    return world
