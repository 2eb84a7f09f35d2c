"""Every visit summed up in a row, kept beside the store and following it: what lists and figures are asked of.

The store marks a visit in the transaction that changes it. `follow` sums marked visits up and takes the marks back; a
visit that was touched meanwhile keeps its mark and comes again. It may be called from any process at any time: only one
of them works, and a summary is never replaced by one of fewer entries. SQLite and PostgreSQL.
"""

import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, NamedTuple

from sqlalchemy import Connection, delete, func, insert, inspect, select, text, update

from chairapp.audit import summary_tables as tables
from chairapp.audit.summed import Summed
from chairapp.clinic import CLINIC_VISIT
from chairapp.judge import JUDGE
from sync import sql_tables
from sync.clock import wall_ms
from sync.sql_store import SqlStore
from sync.store import Touched

__all__ = ["BATCH", "AsOf", "SumUp", "Summaries"]

SumUp = Callable[[str, list[dict[str, Any]]], Summed]

BATCH = 50
VERSION = f"1 of judge {JUDGE}"
# Any number but the store's own will do: "sum" in ASCII.
_LOCK = 0x73756D
_ONE = tables.head.c.one == 1


class AsOf(NamedTuple):
    """`behind` visits are not summed up yet; all was at `at`, ms since 1970. `changes` rises with every change."""

    at: int
    behind: int
    changes: int


class Summaries:
    """The summaries in the database of `store`. Makes their tables where they are missing or of another version."""

    def __init__(self, store: SqlStore, sum_up: SumUp, *, now: Callable[[], int] = wall_ms) -> None:
        self._store = store
        self._sum_up = sum_up
        self._now = now
        self._working = threading.Lock()
        self._make_tables()

    def follow(self, limit: int = BATCH) -> int:
        """Sum up the visits marked longest. Returns how many; 0 when none is, or when somebody else is at it."""
        with self._alone() as alone:
            began = self._now()
            marks = self._store.dirty(limit) if alone else []
            if not marks:
                return 0
            summed = [self._sum_up(mark.visit, self._store.visit(mark.visit)) for mark in marks if _is_a_visit(mark)]
            with self._store.database.writing() as connection:
                _replace(connection, {mark.visit: mark.position for mark in marks}, summed)
                _note(connection, began if len(marks) < limit else None)
            self._store.clean(marks)
        return len(marks)

    def catch_up(self) -> None:
        """Follow until nothing is marked; for small stores and for tests."""
        while self.follow(500):
            pass

    def settle(self) -> None:
        """Wait for what is being summed up just now."""
        with self._working:
            pass

    def as_of(self) -> AsOf:
        with self._store.database.reading() as connection:
            behind = connection.scalar(select(func.count()).select_from(sql_tables.dirty)) or 0
            head = connection.execute(select(tables.head.c.changes, tables.head.c.caught_up_ms).where(_ONE)).one()
        return AsOf(head.caught_up_ms if behind else self._now(), behind, head.changes)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        with self._store.database.reading() as connection:
            yield connection

    def _make_tables(self) -> None:
        # In one transaction under the store's lock: two processes may start at once.
        with self._store.database.writing() as connection:
            if _version(connection) == VERSION:
                lacking = select(tables.visit.c.visit, tables.visit.c.position)
                _mark(connection, lacking.where(tables.visit.c.state == "unjudged"))  # what they lacked may have come
                return
            tables.metadata.drop_all(connection)
            tables.metadata.create_all(connection)
            _mark(connection, select(sql_tables.visit.c.visit, sql_tables.visit.c.position))
            first = {"one": 1, "version": VERSION, "changes": 0, "caught_up_ms": self._now()}
            connection.execute(insert(tables.head), first)

    @contextmanager
    def _alone(self) -> Iterator[bool]:
        """Whether no other thread, and no other process on this database, is summing up; nobody waits."""
        if not self._working.acquire(blocking=False):
            yield False
            return
        try:
            if self._store.engine.dialect.name != "postgresql":
                yield True  # one process at a time has the file
                return
            with self._store.database.reading() as connection:
                yield bool(connection.scalar(text("SELECT pg_try_advisory_xact_lock(:lock)"), {"lock": _LOCK}))
        finally:
            self._working.release()


def _is_a_visit(mark: Touched) -> bool:
    """The clinic's own changes and keys are entries of no visit."""
    return mark.visit != CLINIC_VISIT


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table(tables.head.name):
        return None
    return connection.scalar(select(tables.head.c.version).where(_ONE))


def _mark(connection: Connection, visits: Any) -> None:
    """Mark these visits, but for those that are marked."""
    marked = sql_tables.dirty.alias()
    unmarked = visits.where(~select(marked).where(marked.c.visit == visits.selected_columns.visit).exists())
    connection.execute(insert(sql_tables.dirty).from_select(["visit", "position"], unmarked))


def _note(connection: Connection, caught_up: int | None) -> None:
    """Count the change. `caught_up` is when there were no more marks than these, ms since 1970."""
    values: dict[str, Any] = {"changes": tables.head.c.changes + 1}
    if caught_up is not None:
        values["caught_up_ms"] = caught_up
    connection.execute(update(tables.head).where(_ONE).values(values))


def _replace(connection: Connection, positions: dict[str, int], summed: Sequence[Summed]) -> None:
    """Put the new rows in place of the old, but for visits whose row holds more entries already."""
    known = select(tables.visit.c.visit, tables.visit.c.position).where(tables.visit.c.visit.in_(positions))
    newer = {row.visit for row in connection.execute(known) if row.position > positions[row.visit]}
    fresh = [one for one in summed if one.visit["visit"] not in newer]
    visits = [one.visit["visit"] for one in fresh]
    for table in (tables.visit, tables.flag, tables.step, tables.series, tables.check):
        connection.execute(delete(table).where(table.c.visit.in_(visits)))
    _fill(connection, tables.visit, [{**one.visit, "position": positions[one.visit["visit"]]} for one in fresh])
    _fill(connection, tables.flag, [row for one in fresh for row in one.flags])
    _fill(connection, tables.step, [row for one in fresh for row in one.steps])
    _fill(connection, tables.series, [row for one in fresh for row in one.series])
    _fill(connection, tables.check, [row for one in fresh for row in one.checks])


def _fill(connection: Connection, table: Any, rows: Iterable[dict[str, Any]]) -> None:
    if found := list(rows):
        connection.execute(insert(table), found)
