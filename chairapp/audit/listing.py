"""The list of visits, asked of the summaries: a page at a time, and how many there are of what."""

import json
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Any, NamedTuple

from sqlalchemy import Select, func, select

from chairapp.audit import summary_tables as tables
from chairapp.audit.asked import ONLY, Asked, Cursor, ordered, overdue
from chairapp.audit.summary import Summaries
from chairapp.clinic import ClinicDocument, local

__all__ = ["COUNTED", "PAGE", "Accepted", "Listed", "Listing", "Page"]

PAGE = 50
COUNTED = 1000
"""Counting stops there: "more than 1,000" tells a manager as much, and 100,000 visits are counted as fast as 1,000."""


class Accepted(NamedTuple):
    step: str
    reason: str
    by: str


class Listed(NamedTuple):
    """One visit of the list: its row of `summary_visit`, steps missing, what was accepted, whether its box is late."""

    row: Any
    missing: list[str]
    accepted: list[Accepted]
    overdue: bool


class Page(NamedTuple):
    visits: list[Listed]
    newer: Cursor | None
    older: Cursor | None


class Listing:
    """`overdue_days` at the laboratory are too many; `now` tells the time. Calls block."""

    def __init__(
        self,
        summaries: Summaries,
        clinic: Callable[[], ClinicDocument],
        overdue_days: int = 14,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self._summaries = summaries
        self._clinic = clinic
        self._overdue_days = overdue_days
        self._now = now

    def page(self, asked: Asked, cursor: Cursor | None = None, size: int = PAGE) -> Page:
        """The visits asked for, the one opened last first."""
        query = self._query(asked, cursor, [tables.visit, self._overdue().label("overdue")]).limit(size + 1)
        with self._summaries.reading() as connection:
            found = connection.execute(query).all()
            more, rows = len(found) > size, found[:size]
            back = cursor is not None and cursor.back
            rows = rows[::-1] if back else rows
            accepted = self._accepted(connection, [row.visit for row in rows if row.accepted])
        visits = [Listed(row, json.loads(row.missing), accepted.get(row.visit, []), bool(row.overdue)) for row in rows]
        newer = Cursor(rows[0].opened_ms, rows[0].visit, True) if rows and (more if back else cursor) else None
        older = Cursor(rows[-1].opened_ms, rows[-1].visit) if rows and (back or more) else None
        return Page(visits, newer, older)

    def counts(self, asked: Asked) -> dict[str, int]:
        """How many visits there are of each of ONLY, of all that is asked else; COUNTED + 1 for more."""
        with self._summaries.reading() as connection:
            return {only: connection.scalar(self._count(asked.but(only=only))) or 0 for only in ONLY}

    def count(self, asked: Asked) -> int:
        """How many visits are asked for; COUNTED + 1 for more."""
        with self._summaries.reading() as connection:
            return connection.scalar(self._count(asked)) or 0

    def people(self) -> tuple[list[str], list[str]]:
        """Whoever opened a visit, and every chair, so that those who left can still be asked for."""
        with self._summaries.reading() as connection:
            return self._each(connection, tables.visit.c.author), self._each(connection, tables.visit.c.chair)

    def _each(self, connection: Any, column: Any) -> list[str]:
        """The values of a column one by one, each a step through its index, not a look at every visit."""
        found: list[str] = []
        last = ""
        while (last := connection.scalar(select(func.min(column)).where(column > last))) is not None:
            found.append(last)
        return found

    def _query(self, asked: Asked, cursor: Cursor | None, columns: Sequence[Any]) -> Select[Any]:
        query = ordered(asked, self._clinic(), cursor, columns)
        return query.where(self._overdue()) if asked.only == "overdue" else query

    def _count(self, asked: Asked) -> Select[Any]:
        some = self._flagged(asked)
        if some is None:
            some = self._query(asked, None, [tables.visit.c.visit]).order_by(None)
        return select(func.count()).select_from(some.limit(COUNTED + 1).subquery())

    def _flagged(self, asked: Asked) -> Select[Any] | None:
        """Visits with one flag, of any clinician at any chair: their keys say it without a look at the visits."""
        flags = asked.flags()
        if len(flags) != 1 or asked.clinician or asked.chair or asked.only == "overdue":
            return None
        row = tables.flag.c
        return select(row.visit).where(row.flag == flags[0], *asked.period(self._clinic(), row.opened_ms))

    def _overdue(self) -> Any:
        now = self._now()
        return overdue(now, local(now.isoformat(), self._clinic()).date(), self._overdue_days)

    def _accepted(self, connection: Any, visits: list[str]) -> dict[str, list[Accepted]]:
        step = tables.step.c
        query = select(step.visit, step.step, step.reason, step.by).where(step.visit.in_(visits))
        found: dict[str, list[Accepted]] = {}
        for row in connection.execute(query.where(step.verdict == "accepted")):
            found.setdefault(row.visit, []).append(Accepted(row.step, row.reason, row.by))
        return found
