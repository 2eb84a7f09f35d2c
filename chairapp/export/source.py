"""What is exported: the visits of a store that were asked for, one after the other, each with what belongs to it."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple, Protocol
from zoneinfo import ZoneInfo

from chairapp.clinic import CLINIC_VISIT, ClinicDocument
from chairapp.export.errors import Cancelled, NothingThere, Unreadable
from chairapp.export.period import Period
from chairapp.judge.errors import InputError
from chairapp.visit import visit_state
from sync.entry import in_order, read
from sync.store import Link, Store

__all__ = ["Progress", "Source", "Visit", "ignore"]

Doc = dict[str, Any]
Progress = Callable[[int, int], bool]
"""Told (visits done, visits looked through of all) after each visit; False stops the export."""


def ignore(_done: int, _of: int) -> bool:
    return True


class Blobs(Protocol):
    def get(self, name: str) -> bytes: ...


@dataclass
class Source:
    """`sequence_of` gives a sequence document by its digest; `codes` keeps to box codes, `visits` to visits.

    `access` are lines of the access log about a visit, `blobs` its attachments, where the node has them.
    """

    store: Store
    sequence_of: Callable[[str], Doc | None]
    clinic: ClinicDocument | None = None
    period: Period = field(default_factory=Period)
    code: str | None = None
    visit: str | None = None
    blobs: Blobs | None = None
    access: Callable[[str], Iterator[Mapping[str, Any]]] = lambda _: iter(())
    given: list[str] = field(default_factory=list, init=False)
    """The visits of one record, once it was read."""
    left_out: int = field(default=0, init=False)
    """Visits asked for that a format could not take, as they cannot be judged here."""

    @property
    def whole(self) -> bool:
        """Whether everything is asked for, so that the chain can be walked from end to end."""
        return self.period.whole and not (self.code or self.visit)

    @property
    def one(self) -> bool:
        """Whether the record of one patient is asked for, with who looked at it."""
        return bool(self.code or self.visit)

    @cached_property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.clinic.time_zone if self.clinic else "UTC")

    @cached_property
    def people(self) -> dict[str, str]:
        return {person.id: person.name for person in self.clinic.staff} if self.clinic else {}

    def each(self, progress: Progress = ignore) -> Iterator["Visit"]:
        """Every visit asked for, once, as it stands at the moment it is read; not more than one is held.

        Raises NothingThere at the end of a search for one record that is not here, Cancelled when told to stop.
        """
        of = self._count()
        self.given.clear()
        self.left_out = 0
        for looked, name in enumerate(self._names(), start=1):
            if name != CLINIC_VISIT and (visit := self._asked_for(name)):
                if self.one:
                    self.given.append(name)
                yield visit
            if not progress(looked, of):
                raise Cancelled
        if self.one and not self.given:
            what = (
                f"visit: no visit has the id {self.visit}" if self.visit else f"code: no visit has the box {self.code}"
            )
            raise NothingThere(what)

    def own(self) -> "Visit":
        """The clinic's own visit: changes of its document, keys of its people."""
        return Visit(self, CLINIC_VISIT, list(self.store.links(CLINIC_VISIT)))

    def _names(self) -> Iterator[str]:
        if self.visit:
            yield from [self.visit] if self.store.touched(self.visit) else []
            return
        # A visit touched meanwhile stands in the feed again.
        seen: set[str] = set()
        cursor, more = None, True
        while more:
            page = self.store.visits(cursor)
            fresh = [touched.visit for touched in page.visits if touched.visit not in seen]
            seen.update(fresh)
            yield from fresh
            cursor, more = page.cursor, page.more

    def _count(self) -> int:
        """How many visits there are to look through; a rising number of one store is no exact science."""
        if self.visit:
            return 1
        count, cursor, more = 0, None, True
        while more:
            page = self.store.visits(cursor, 5000)
            count, cursor, more = count + len(page.visits), page.cursor, page.more
        return count

    def _asked_for(self, name: str) -> "Visit | None":
        visit = Visit(self, name, list(self.store.links(name)))
        if not visit.links:
            return None
        opened = visit.opened
        if self.code and not (opened and opened["value"].get("box") == self.code):
            return None
        begun = opened["at"] if opened else visit.entries[0]["at"]
        return visit if self.period.holds(begun, self.zone) else None


class Arrived(NamedTuple):
    """When an entry reached this store, in ms since 1970, and its place in the chain."""

    received: int
    position: int


class Visit:
    """One visit with its entries in (clock, id) order; what it comes to is worked out when it is asked for."""

    def __init__(self, source: Source, id: str, links: list[Link]) -> None:
        self.source = source
        self.id = id
        self.links = links
        read_links = [(_entry(link), link) for link in links]
        self.entries = in_order(entry for entry, _ in read_links)
        self.arrived = {entry["id"]: Arrived(link.received, link.position) for entry, link in read_links}

    @property
    def opened(self) -> Doc | None:
        """The latest `opened` entry, whose value says box, chair and sequence."""
        opened = [entry for entry in self.entries if entry["kind"] == "opened" and isinstance(entry["value"], dict)]
        return opened[-1] if opened else None

    @cached_property
    def sequence(self) -> Doc | None:
        """The document it was opened with; None where that, or the opening, has not reached this node."""
        opened = self.opened
        return self.source.sequence_of(str(opened["value"].get("digest", ""))) if opened else None

    @property
    def view(self) -> Doc | None:
        """`visit_state` of it, in English; None where it cannot be judged, and `trouble` says why."""
        return self._judged[0]

    @property
    def trouble(self) -> str:
        return self._judged[1]

    @cached_property
    def _judged(self) -> tuple[Doc | None, str]:
        # One visit that cannot be judged must not keep a clinic from its other 100,000.
        if self.sequence is None:
            return None, "its sequence is not here" if self.opened else "its opening is not here"
        try:
            return visit_state(self.sequence, self.entries, "en", self.source.people), ""
        except InputError as error:
            return None, str(error)


def _entry(link: Link) -> Doc:
    if not link.data:
        raise Unreadable(f"entry {link.position} of the store is not what was stored: run `threemark verify` first")
    return read(link.data)
