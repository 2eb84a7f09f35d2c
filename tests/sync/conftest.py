"""Stores of every sort, devices that make entries, and nodes that live in this process."""

import itertools
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from sync.entry import Entry, Stamper
from sync.sql_store import SqlStore
from sync.store import Store
from sync.tiny_store import TinyStore
from tests.sync import postgres
from tests.sync.two_nodes import Clinic, Nodes

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


@pytest.fixture
def clinic(tmp_path: Path, clock: Clock) -> Iterator[Clinic]:
    clinic = Clinic(tmp_path, clock)
    yield clinic
    clinic.store.close()


@pytest.fixture
def chair(tmp_path: Path, clock: Clock) -> Iterator[TinyStore]:
    store = TinyStore(tmp_path / "chair", now=clock)
    yield store
    store.close()


@pytest.fixture
def nodes(tmp_path: Path, clock: Clock) -> Iterator[Nodes]:
    nodes = Nodes(tmp_path, clock)
    yield nodes
    nodes.close()


@pytest.fixture(scope="session")
def postgresql() -> Iterator[str]:
    """The url of a PostgreSQL that is there for the whole run."""
    with postgres.running() as url:
        yield url


@pytest.fixture(params=["tiny", "sqlite", "postgresql"])
def open_store(request: pytest.FixtureRequest, tmp_path: Path, clock: Clock) -> Iterator[OpenStore]:
    """A way to open one and the same store, again and again; every one opened is closed at the end."""
    opened: list[Store] = []
    make = _maker(request, tmp_path, clock)

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
    if request.param == "postgresql":
        return postgres.empty(request.getfixturevalue("postgresql"))
    return f"sqlite:///{tmp_path}/clinic.sqlite"


def _maker(request: pytest.FixtureRequest, folder: Path, clock: Clock) -> OpenStore:
    if request.param == "tiny":
        return lambda: TinyStore(folder / "node", now=clock)
    if request.param == "sqlite":
        return lambda: SqlStore(f"sqlite:///{folder}/clinic.sqlite", now=clock)
    url = postgres.empty(request.getfixturevalue("postgresql"))
    return lambda: SqlStore(url, now=clock)
