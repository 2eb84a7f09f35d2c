"""Stores of every sort, devices that make entries, and nodes that live in this process."""

import itertools
import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from sqlalchemy import create_engine

from sync.entry import Entry, Stamper
from sync.sql_store import SqlStore, metadata
from sync.store import Store
from sync.tiny_store import TinyStore

# A busy machine must not fail a test that only found no example wrong in time.
settings.register_profile("patient", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("patient")

MORNING = 1_795_600_000_000

OpenStore = Callable[[], Store]


class Clock:
    """A wall clock that stands until it is moved; in ms since 1970."""

    def __init__(self, now: int = MORNING) -> None:
        self.now = now

    def __call__(self) -> int:
        return self.now


class Maker:
    """A device that makes readings one after the other."""

    def __init__(self, device: str = "tablet-1", clock: Clock | None = None) -> None:
        self.stamper = Stamper(device, wall=clock or Clock())
        self.visit = self.stamper.new_id()
        self._numbers = itertools.count()

    def reading(self, *, visit: str = "", value: object = None) -> Entry:
        number = next(self._numbers)
        return self.stamper.entry(
            visit or self.visit,
            "reading",
            author="staff-1",
            item="height",
            value=number if value is None else value,
        )

    def readings(self, count: int, *, visit: str = "") -> list[Entry]:
        return [self.reading(visit=visit) for _ in range(count)]


@pytest.fixture
def maker() -> Maker:
    return Maker()


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture(params=["tiny", "sqlite", "postgresql"])
def open_store(request: pytest.FixtureRequest, tmp_path: Path, clock: Clock) -> Iterator[OpenStore]:
    """A way to open one and the same store, again and again; every one opened is closed at the end."""
    opened: list[Store] = []
    make = _MAKERS[request.param](tmp_path, clock)

    def open_it() -> Store:
        for store in opened:
            store.close()
        opened.append(make())
        return opened[-1]

    yield open_it
    for store in opened:
        store.close()


@pytest.fixture
def store(open_store: OpenStore) -> Store:
    return open_store()


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The url of an empty database that several stores may open at once."""
    return _empty_postgresql() if request.param == "postgresql" else f"sqlite:///{tmp_path}/clinic.sqlite"


def _tiny(folder: Path, clock: Clock) -> OpenStore:
    return lambda: TinyStore(folder / "node", now=clock)


def _sqlite(folder: Path, clock: Clock) -> OpenStore:
    return lambda: SqlStore(f"sqlite:///{folder}/clinic.sqlite", now=clock)


def _postgresql(_folder: Path, clock: Clock) -> OpenStore:
    url = _empty_postgresql()
    return lambda: SqlStore(url, now=clock)


def _empty_postgresql() -> str:
    url = os.environ.get("TEST_POSTGRES_URL")
    if not url:
        pytest.skip("no PostgreSQL to test with: TEST_POSTGRES_URL=postgresql+psycopg://... names an empty database")
    engine = create_engine(url)
    metadata.drop_all(engine)
    engine.dispose()
    return url


_MAKERS = {"tiny": _tiny, "sqlite": _sqlite, "postgresql": _postgresql}
