"""A period of whole days, as the clinic's calendar has them."""

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from chairapp.export.errors import PeriodError

__all__ = ["Period", "period_of"]


@dataclass(frozen=True)
class Period:
    """Both days belong to it; None leaves a side open."""

    since: date | None = None
    until: date | None = None

    @property
    def whole(self) -> bool:
        return self.since is None and self.until is None

    def holds(self, at: str, zone: ZoneInfo) -> bool:
        """Whether this time (RFC 3339, UTC) falls on one of its days in that time zone."""
        day = datetime.fromisoformat(at).astimezone(zone).date()
        return (self.since is None or day >= self.since) and (self.until is None or day <= self.until)

    def __str__(self) -> str:
        if self.whole:
            return "all visits"
        return " ".join(f"{word} {day}" for word, day in (("from", self.since), ("to", self.until)) if day)


def period_of(since: str | None, until: str | None) -> Period:
    """From two days written 2026-12-31, "" or None for no limit. Raises PeriodError naming the one that is wrong."""
    period = Period(_day("since", since), _day("until", until))
    if period.since and period.until and period.since > period.until:
        raise PeriodError(f"until: {period.until} is before {period.since}, give a later day or leave it out")
    return period


def _day(field: str, text: str | None) -> date | None:
    text = (text or "").strip()
    if not text:
        return None
    try:
        # The shape first: fromisoformat also takes weeks and days without hyphens.
        if len(text) == 10 and text[4] == text[7] == "-":
            return date.fromisoformat(text)
    except ValueError:
        pass
    raise PeriodError(f"{field}: {text[:20]!r} is no day, write it as 2026-12-31")
