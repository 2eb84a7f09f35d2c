"""The register's index at a clinic server: boxes found through the summaries, and what they have not taken in yet."""

import json
from collections.abc import Collection, Iterator
from typing import Any

from sqlalchemy import func, select

from chairapp.audit import summary_tables as tables
from chairapp.audit.summary import Summaries
from chairapp.clinic import CLINIC_VISIT
from chairapp.register import Line, line_of
from sync.sql_store import SqlStore

__all__ = ["SummaryIndex"]

MOST = 5000
"""Boxes not finished that are listed, those opened last; a clinic that finishes its boxes never has so many."""
FINISHED = 60
_LAGGING = 500
_ROW = tables.visit.c


class SummaryIndex:
    """`chairapp.register.Index` over the summaries. Visits they lag behind with, up to 500, are read from the store."""

    def __init__(self, store: SqlStore, summaries: Summaries) -> None:
        self._store = store
        self._summaries = summaries

    def lines(self) -> list[Line]:
        ordered = select(tables.visit).where(_ROW.code != "").order_by(_ROW.opened_ms.desc(), _ROW.visit.desc())
        unfinished = ordered.where(_ROW.state != "finished").limit(MOST)
        finished = ordered.where(_ROW.state == "finished").limit(FINISHED)
        with self._summaries.reading() as connection:
            rows = [row for query in (unfinished, finished) for row in connection.execute(query)]
        fresh = self._lagging()
        return [*fresh.values(), *(_line(row) for row in rows if row.visit not in fresh)]

    def with_code(self, code: str) -> list[str]:
        with self._summaries.reading() as connection:
            found = set(connection.scalars(select(_ROW.visit).where(_ROW.code == code)))
        return [*(found | {visit for visit, line in self._lagging().items() if line.code == code})]

    def codes(self) -> Collection[str]:
        return _Codes(self)

    def all_codes(self) -> Iterator[str]:
        with self._summaries.reading() as connection:
            yield from connection.scalars(select(_ROW.code).where(_ROW.code != ""))
        yield from (line.code for line in self._lagging().values())

    def __len__(self) -> int:
        fresh = self._lagging()
        with self._summaries.reading() as connection:
            count = connection.scalar(select(func.count()).select_from(tables.visit).where(_ROW.code != "")) or 0
            known = set(connection.scalars(select(_ROW.visit).where(_ROW.visit.in_(fresh), _ROW.code != "")))
        return count + len(fresh.keys() - known)

    def _lagging(self) -> dict[str, Line]:
        """Visits with entries no summary has, as they are in the store."""
        marked = [mark.visit for mark in self._store.dirty(_LAGGING) if mark.visit != CLINIC_VISIT]
        lines = (line_of(visit, self._store.visit(visit)) for visit in marked)
        return {line.visit: line for line in lines if line}


class _Codes(Collection[str]):
    """Read only when somebody looks through them, as for a code with a slip."""

    def __init__(self, index: SummaryIndex) -> None:
        self._index = index

    def __contains__(self, code: object) -> bool:
        return isinstance(code, str) and bool(self._index.with_code(code))

    def __iter__(self) -> Iterator[str]:
        return self._index.all_codes()

    def __len__(self) -> int:
        return len(self._index)


def _line(row: Any) -> Line:
    return Line(
        visit=row.visit,
        code=row.code,
        chair=row.chair,
        author=row.author,
        opened=row.opened,
        last=row.last,
        entries=row.entries,
        sequence=row.sequence,
        signed=row.was_signed,
        printed=row.printed,
        moved=tuple(json.loads(row.moved)),
        wanted=row.wanted,
    )
