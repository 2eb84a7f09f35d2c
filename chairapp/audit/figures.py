"""The figures of a clinic, asked of the summaries: completeness, acceptances, steadiness, outcomes, agreement.

Under ENOUGH of a thing nothing is worked out: the counts are given and None in the figure's place. Calls block.
"""

import json
from collections import defaultdict
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import Integer, Select, cast, func, literal_column, select

from chairapp.audit import summary_tables as tables
from chairapp.audit.asked import Asked
from chairapp.audit.statistics import (
    Agreement,
    Chart,
    Correlation,
    Difference,
    Share,
    Steadiness,
    bland_altman,
    icc,
    individuals,
    kappa,
    newcombe,
    steadiness,
    wilson,
)
from chairapp.audit.summary import Summaries
from chairapp.audit.summed import FIXES
from chairapp.clinic import ClinicDocument

__all__ = [
    "CHARTED",
    "ENOUGH",
    "KINDS",
    "ChoiceAgreement",
    "Distance",
    "Figures",
    "Month",
    "NumberAgreement",
    "Outcomes",
    "Reason",
    "Steady",
    "StepShares",
]

ENOUGH = 10
"""Visits, series, pairs: with fewer an interval is too wide, or a limit too loose, to act upon."""
CHARTED = 60
"""Visits of an individuals chart, the latest."""
KINDS = {"fits": "Fits", "accepted": "Accepted", "unsettled": "Off or unsure", "skipped": "Not measured"}
"""What became of a step in a visit that was signed; "skipped" has no reading, or none since the wax changed."""
_KIND_OF = {"fits": "fits", "accepted": "accepted", "off": "unsettled", "unsure": "unsettled"}
_ROW, _STEP = tables.visit.c, tables.step.c


class StepShares(NamedTuple):
    """Of one step in `of` signed visits: how many of each kind, and the shares where there are enough."""

    step: str
    of: int
    counts: dict[str, int]
    shares: dict[str, Share] | None


class Reason(NamedTuple):
    """A reason as it was first written; others that differ only in blanks and capitals are counted with it."""

    step: str
    reason: str
    times: int
    by: list[str]


class Month(NamedTuple):
    """Of the visits opened in it, "2026-11". `accepted` is a share of the steps of those that were signed."""

    month: str
    opened: int
    signed: int
    complete: int
    finished: int
    accepted: Share | None


class Steady(NamedTuple):
    """One clinician's repeated readings of one item, in mm. `dahlberg` is of the first two of each series."""

    author: str
    item: str
    series: int
    readings: int
    within: Steadiness | None
    dahlberg: float | None


class Distance(NamedTuple):
    visit: str
    code: str
    opened_ms: int
    mm: float


class Outcomes(NamedTuple):
    """Records repeated at the try-in, of visits with something accepted and of those without; fixes of all tried in."""

    accepted: tuple[int, int]
    plain: tuple[int, int]
    shares: tuple[Share, Share, Difference] | None
    fixes: dict[str, tuple[int, Share | None]]


class NumberAgreement(NamedTuple):
    """Second readings of one item against the first."""

    item: str
    pairs: list[tuple[float, float]]
    limits: Agreement | None
    icc: Correlation | None


class ChoiceAgreement(NamedTuple):
    """`table[i][j]` counts what was called choices[i] at first and choices[j] by the second person."""

    item: str
    choices: list[str]
    table: list[list[int]]
    same: int
    of: int
    share: Share | None
    kappa: float | None


class Figures:
    """`asked` narrows by period, clinician and chair; state, verdict and flags are for lists."""

    def __init__(self, summaries: Summaries, clinic: Callable[[], ClinicDocument]) -> None:
        self._summaries = summaries
        self._clinic = clinic

    # ---- completeness and acceptances

    def steps(self, asked: Asked) -> list[StepShares]:
        """In the order of the sequence's ids; whoever shows them knows their order."""
        query = self._of_steps(asked, _STEP.step, _STEP.verdict, func.count()).group_by(_STEP.step, _STEP.verdict)
        counts: dict[str, dict[str, int]] = defaultdict(lambda: dict.fromkeys(KINDS, 0))
        for step, verdict, count in self._all(query):
            counts[step][_KIND_OF.get(verdict, "skipped")] += count
        return [_step_shares(step, found) for step, found in counts.items()]

    def reasons(self, asked: Asked) -> list[Reason]:
        """The most frequent first."""
        query = self._of_steps(asked, _STEP.step, _STEP.reason, _STEP.by).where(_STEP.verdict == "accepted")
        found: dict[tuple[str, str], list[tuple[str, str]]] = defaultdict(list)
        for step, reason, by in self._all(query):
            found[step, " ".join(reason.split()).casefold()].append((reason.strip(), by))
        reasons = [
            Reason(step, given[0][0], len(given), sorted({by for _, by in given})) for (step, _), given in found.items()
        ]
        return sorted(reasons, key=lambda reason: (-reason.times, reason.step, reason.reason))

    def months(self, asked: Asked) -> list[Month]:
        """Oldest first, by the clinic's calendar; months without a visit are left out."""
        zone = ZoneInfo(self._clinic().time_zone)
        counted: dict[str, list[int]] = defaultdict(lambda: [0] * 6)
        for row in self._all(self._by_quarter(asked)):
            month = datetime.fromtimestamp(row.quarter * _QUARTER_MS / 1000, UTC).astimezone(zone).strftime("%Y-%m")
            values = (row.opened, row.signed, row.complete, row.finished, row.accepted, row.steps)
            counted[month] = [a + int(b or 0) for a, b in zip(counted[month], values, strict=True)]
        return [_month(month, *values) for month, values in sorted(counted.items())]

    def _of_steps(self, asked: Asked, *columns: Any) -> Select[Any]:
        joined = tables.visit.join(tables.step, _STEP.visit == _ROW.visit)
        return select(*columns).select_from(joined).where(_ROW.was_signed, *asked.where(self._clinic()))

    def _by_quarter(self, asked: Asked) -> Select[Any]:
        """Counted a quarter of an hour at a time: every calendar's month begins on one, whatever its zone."""
        was = cast(_ROW.was_signed, Integer)
        left = _ROW.off + _ROW.unsure + _ROW.open + _ROW.stale
        complete = _ROW.signed & (left == 0)
        quarter = (_ROW.opened_ms // literal_column(str(_QUARTER_MS), Integer)).label("quarter")
        return (
            select(
                quarter,
                func.count().label("opened"),
                func.sum(was).label("signed"),
                func.sum(cast(complete, Integer)).label("complete"),
                func.sum(cast(_ROW.state == "finished", Integer)).label("finished"),
                func.sum(_ROW.accepted * was).label("accepted"),
                func.sum((left + _ROW.accepted + _ROW.fits) * was).label("steps"),
            )
            .where(*asked.where(self._clinic()))
            .group_by("quarter")
        )

    # ---- steadiness

    def steady(self, asked: Asked) -> list[Steady]:
        """Every clinician with repeated readings of rest or occlusal height, by name of item."""
        row = tables.series.c
        apart = row.second - row.first
        query = (
            select(row.author, row.item, func.count(), func.sum(row.n), func.sum(row.squares), func.sum(apart * apart))
            .select_from(tables.visit.join(tables.series, row.visit == _ROW.visit))
            .where(*asked.but(clinician="").where(self._clinic()))
            .group_by(row.author, row.item)
            .order_by(row.author, row.item)
        )
        query = query.where(row.author == asked.clinician) if asked.clinician else query
        return [_steady(*found) for found in self._all(query)]

    def distances(self, asked: Asked) -> tuple[list[Distance], Chart | None]:
        """Interocclusal distances in the order they were taken, the latest CHARTED, with their chart."""
        query = (
            select(_ROW.visit, _ROW.code, _ROW.opened_ms, _ROW.distance)
            .where(_ROW.distance.is_not(None), _ROW.was_signed, *asked.where(self._clinic()))
            .order_by(_ROW.opened_ms.desc(), _ROW.visit.desc())
            .limit(CHARTED)
        )
        found = [Distance(*row) for row in reversed(self._all(query))]
        return found, individuals([one.mm for one in found]) if len(found) >= ENOUGH else None

    # ---- outcomes

    def outcomes(self, asked: Asked) -> Outcomes:
        fixes = [func.sum(cast(getattr(_ROW, f"fix_{what}"), Integer)) for what in FIXES]
        had = (_ROW.accepted > literal_column("0")).label("had")
        columns: list[Any] = [had, func.count(), func.sum(cast(_ROW.repeat, Integer)), *fixes]
        query = select(*columns).where(_ROW.tried, *asked.where(self._clinic())).group_by("had")
        found = {bool(row[0]): [int(value) for value in row[1:]] for row in self._all(query)}
        none = [0] * (2 + len(FIXES))
        with_any, without = found.get(True, none), found.get(False, none)
        tried = with_any[0] + without[0]
        fixed = {what: with_any[2 + at] + without[2 + at] for at, what in enumerate(FIXES)}
        return Outcomes(
            (with_any[1], with_any[0]),
            (without[1], without[0]),
            _compared((with_any[1], with_any[0]), (without[1], without[0])),
            {what: (count, wilson(count, tried) if tried >= ENOUGH else None) for what, count in fixed.items()},
        )

    # ---- agreement

    def agreement(self, asked: Asked) -> tuple[list[NumberAgreement], list[ChoiceAgreement]]:
        """Second readings and answers against what stood when they were made, item by item."""
        row = tables.check.c
        query = (
            select(row.item, row.first, row.second)
            .select_from(tables.visit.join(tables.check, row.visit == _ROW.visit))
            .where(*asked.where(self._clinic()))
            .order_by(row.item, _ROW.opened_ms, row.entry)
        )
        pairs: dict[str, list[tuple[Any, Any]]] = defaultdict(list)
        for item, first, second in self._all(query):
            pairs[item].append((json.loads(first), json.loads(second)))
        worded = {item: found for item, found in pairs.items() if isinstance(found[0][0], str)}
        numbers = [_numbers(item, found) for item, found in pairs.items() if item not in worded]
        return numbers, [_choices(item, found) for item, found in worded.items()]

    def _all(self, query: Any) -> Sequence[Any]:
        with self._summaries.reading() as connection:
            return connection.execute(query).all()


_QUARTER_MS = 15 * 60 * 1000


def _step_shares(step: str, counts: dict[str, int]) -> StepShares:
    of = sum(counts.values())
    shares = {kind: wilson(count, of) for kind, count in counts.items()} if of >= ENOUGH else None
    return StepShares(step, of, counts, shares)


def _month(month: str, opened: int, signed: int, complete: int, finished: int, accepted: int, steps: int) -> Month:
    share = wilson(accepted, steps) if signed >= ENOUGH and steps else None
    return Month(month, opened, signed, complete, finished, share)


def _steady(author: str, item: str, series: int, readings: int, squares: float, apart: float) -> Steady:
    if series < ENOUGH:
        return Steady(author, item, series, int(readings), None, None)
    within = steadiness(squares, int(readings) - series)
    return Steady(author, item, series, int(readings), within, steadiness(apart / 2, series).sd)


def _compared(first: tuple[int, int], second: tuple[int, int]) -> tuple[Share, Share, Difference] | None:
    if min(first[1], second[1]) < ENOUGH:
        return None
    a, b = wilson(*first), wilson(*second)
    return a, b, newcombe(a, b)


def _numbers(item: str, pairs: list[tuple[float, float]]) -> NumberAgreement:
    if len(pairs) < ENOUGH:
        return NumberAgreement(item, pairs, None, None)
    return NumberAgreement(item, pairs, bland_altman(pairs), icc(pairs))


def _choices(item: str, pairs: list[tuple[str, str]]) -> ChoiceAgreement:
    choices = sorted({choice for pair in pairs for choice in pair})
    table = [[pairs.count((first, second)) for second in choices] for first in choices]
    same, of = sum(first == second for first, second in pairs), len(pairs)
    enough = of >= ENOUGH
    share = wilson(same, of) if enough else None
    return ChoiceAgreement(item, choices, table, same, of, share, kappa(table) if enough else None)
