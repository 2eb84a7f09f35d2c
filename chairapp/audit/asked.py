"""What a manager asked a list or a figure for: period, clinician, chair, state, verdict, flags. An address says it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, FromClause, Select, and_, or_, select, tuple_

from chairapp.audit import summary_tables as tables
from chairapp.audit.errors import AskedError
from chairapp.audit.summed import FLAGS, STATES, VERDICTS
from chairapp.clinic import ClinicDocument

__all__ = ["ONLY", "Asked", "Cursor", "asked_of", "cursor_of", "ordered", "overdue"]

ONLY = {**FLAGS, "overdue": "Box overdue"}
_ROW = tables.visit.c


@dataclass(frozen=True)
class Asked:
    """ "" or None where nothing was asked. Both days belong to the period, by the clinic's calendar."""

    since: date | None = None
    until: date | None = None
    clinician: str = ""
    chair: str = ""
    state: str = ""
    verdict: str = ""
    only: str = ""

    @property
    def query(self) -> str:
        """As the part of an address after the question mark."""
        said = {name: str(value) for name, value in vars(self).items() if value}
        return urlencode(said)

    @property
    def narrows(self) -> bool:
        """Whether anything but `only` is asked."""
        return bool(replace(self, only="").query)

    def but(self, **changed: Any) -> "Asked":
        return replace(self, **changed)

    def flags(self) -> list[str]:
        """The flags of the summaries that a visit must have."""
        found = [self.only] if self.only in FLAGS else []
        found += ["place laboratory"] if self.only == "overdue" else []
        found += [f"state {self.state}"] if self.state else []
        return found + ([f"has {self.verdict}"] if self.verdict else [])

    def where(self, clinic: ClinicDocument) -> list[ColumnElement[bool]]:
        """Conditions on `summary_visit` for period, clinician and chair."""
        found = self.period(clinic, _ROW.opened_ms)
        found += [_ROW.author == self.clinician] if self.clinician else []
        return found + ([_ROW.chair == self.chair] if self.chair else [])

    def period(self, clinic: ClinicDocument, opened_ms: ColumnElement[int]) -> list[ColumnElement[bool]]:
        """Conditions on a column that holds when a visit was opened, ms since 1970."""
        zone = ZoneInfo(clinic.time_zone)
        found = [opened_ms >= _ms(self.since, zone)] if self.since else []
        return found + ([opened_ms < _ms(self.until + timedelta(days=1), zone)] if self.until else [])


@dataclass(frozen=True)
class Cursor:
    """Go on from this visit: to the older ones, or back to the newer."""

    opened_ms: int
    visit: str
    back: bool = False

    @property
    def text(self) -> str:
        return f"{'-' if self.back else ''}{self.opened_ms}.{self.visit}"


def asked_of(query: Mapping[str, str]) -> Asked:
    """From the part of an address after the question mark. Raises AskedError naming what cannot be asked."""
    asked = Asked(
        _day("since", query.get("since", "")),
        _day("until", query.get("until", "")),
        query.get("clinician", "")[:64],
        query.get("chair", "")[:120],
        _one_of("state", query.get("state", ""), STATES),
        _one_of("verdict", query.get("verdict", ""), VERDICTS),
        _one_of("only", query.get("only", ""), ONLY),
    )
    if asked.since and asked.until and asked.since > asked.until:
        raise AskedError(f"Until: {asked.until} is before {asked.since}, give a later day or leave it out")
    return asked


def cursor_of(text: str) -> Cursor | None:
    """None for the first page. Raises AskedError."""
    if not text:
        return None
    ms, _, visit = text.removeprefix("-").partition(".")
    if not (ms.isascii() and ms.isdigit() and len(ms) < 16 and visit):
        raise AskedError(f"Page: {text[:20]!r} is no place in the list, begin with the first page")
    return Cursor(int(ms), visit, text.startswith("-"))


def ordered(asked: Asked, clinic: ClinicDocument, cursor: Cursor | None, columns: Any) -> Select[Any]:
    """The visits asked for, the one opened last first, after `cursor`; oldest first when it goes back."""
    flags = asked.flags()
    query: Select[Any] = select(*columns)
    at: FromClause = tables.visit
    if flags:
        # The first flag's key is in the order of the list, so that only what is shown is read.
        first = tables.flag.alias("first")
        query = query.select_from(tables.visit.join(first, first.c.visit == _ROW.visit)).where(first.c.flag == flags[0])
        # And is asked for the period itself: else what is newer would be read first.
        query, at = query.where(*asked.period(clinic, first.c.opened_ms)), first
    for flag in flags[1:]:
        other = tables.flag.alias()
        same = and_(other.c.flag == flag, other.c.opened_ms == _ROW.opened_ms, other.c.visit == _ROW.visit)
        query = query.where(select(other).where(same).exists())
    query = query.where(*asked.where(clinic))
    place = (at.c.opened_ms, at.c.visit)
    if cursor is None:
        return query.order_by(*(column.desc() for column in place))
    here = tuple_(cursor.opened_ms, cursor.visit)
    if cursor.back:
        return query.where(tuple_(*place) > here).order_by(*place)
    return query.where(tuple_(*place) < here).order_by(*(column.desc() for column in place))


def overdue(now: datetime, today: date, days: int) -> ColumnElement[bool]:
    """A box at the laboratory for `days` or more, or past the day it was wanted back; `today` is the clinic's."""
    long = _ROW.since_ms <= int((now - timedelta(days=days)).timestamp() * 1000)
    return and_(_ROW.place == "laboratory", or_(long, _ROW.wanted < today.isoformat()))


def _ms(day: date, zone: ZoneInfo) -> int:
    """When that day begins there, ms since 1970."""
    return int(datetime.combine(day, time(), zone).timestamp() * 1000)


def _day(field: str, text: str) -> date | None:
    if not text.strip():
        return None
    try:
        return datetime.strptime(text.strip(), "%Y-%m-%d").date()
    except ValueError:
        raise AskedError(f"{field.capitalize()}: {text[:20]!r} is no day, write it as 2026-12-31") from None


def _one_of(field: str, text: str, known: Any) -> str:
    if text and text not in known:
        raise AskedError(f"{field.capitalize()}: {text[:20]!r} is none of {', '.join(known)}")
    return text
