"""A chair node tries once a day, whatever became of the day before, and forgets the visits that went."""

import asyncio

import pytest

from chairapp.node.purging import keep_purging
from chairapp.register import Register
from chairapp.visit import stage
from sync.entry import Stamper
from sync.errors import HopError
from sync.purge import Purge
from sync.tiny_store import TinyStore

BOX = {"sequence": "jaw-relation", "digest": "0" * 64, "box": "7KQ4M2X9", "chair": "1", "language": "en"}


class Line:
    """In place of the hop: fails when told to, else lets one entry go."""

    def __init__(self, purge, error=None):
        self.purge, self.error = purge, error
        self.tried = asyncio.Event()

    async def converse(self, steps):
        steps.close()
        self.tried.set()
        if self.error:
            raise self.error
        self.purge.purged += 1


@pytest.fixture
def store(tmp_path):
    store = TinyStore(tmp_path)
    yield store
    store.close()


def told(line, purge):
    """How often it was said that visits went, by the time the first day's try is over."""
    gone = []

    async def a_day():
        purging = asyncio.create_task(keep_purging(line, purge, lambda: gone.append(1)))
        await line.tried.wait()
        assert not purging.done()
        purging.cancel()

    asyncio.run(a_day())
    return len(gone)


def test_visits_that_went_are_told_and_a_clinic_server_away_only_puts_it_off(store):
    purge = Purge(store, stage, 90)
    assert told(Line(purge), purge) == 1
    assert told(Line(purge, HopError("away")), purge) == 0


def test_a_visit_is_finished_when_the_latest_movement_of_its_box_says_so():
    stamper = Stamper("tablet")
    visit = stamper.new_id()
    made = [stamper.entry(visit, "opened", author="a", value=BOX)]
    assert stage(made) == "open"
    for where, expected in (("laboratory", "open"), ("finished", "finished"), ("chair", "open")):
        made.append(stamper.entry(visit, "movement", author="a", value={"to": where}))
        assert stage(made) == expected
    made.append(stamper.entry(visit, "movement", author="a", value="lost"))
    assert stage(made) == "open"


def test_the_register_lists_a_purged_visit_no_more_once_it_begins_again(store):
    stamper = Stamper("tablet")
    visits = [stamper.new_id() for _ in range(2)]
    store.add([stamper.entry(visit, "opened", author="a", value=BOX) for visit in visits])
    register = Register(store, lambda digest: None)
    assert len(register) == 2
    store.purge(visits[:1])
    register.begin_again()
    assert [line.visit for line in register.lines()] == visits[1:]
