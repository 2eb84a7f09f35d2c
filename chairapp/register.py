"""Every visit of a node in one line each, and any one of them judged: what the pages are made from."""

import threading
from collections import OrderedDict
from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Any, Protocol

from chairapp.visit import movements, visit_state, wanted

__all__ = ["Index", "Line", "NoSequence", "Register", "VisitStore", "Words", "line_of", "words_of"]

_VIEWS_KEPT = 512

Entry = dict[str, Any]
View = dict[str, Any]
Words = Callable[[str], str]
"""The text of a key of a sequence's catalogue, `choice.packing.items.record`."""


class NoSequence(Exception):
    """The sequence document a visit was opened with has not reached this node yet."""


class VisitStore(Protocol):
    """What is needed of a store (`sync.store.Store` has it)."""

    def visit(self, visit: str) -> list[Entry]: ...
    def visits(self, cursor: str | None = None, limit: int = 500) -> Any: ...


@dataclass(frozen=True)
class Line:
    """One visit without judging it. `sequence` is a digest; times are RFC 3339 in UTC."""

    visit: str
    code: str
    chair: str
    author: str
    opened: str
    last: str
    entries: int
    sequence: str
    signed: bool
    printed: bool
    moved: tuple[dict[str, Any], ...] = ()
    """The movements of its box that stand, oldest first: entries with `{"to": PLACE}`."""
    wanted: str | None = None
    """The day it is wanted back, 2026-12-31."""


class Index(Protocol):
    """Finds visits in a store too large to be read through: what a clinic server's register stands on."""

    def lines(self) -> list[Line]:
        """The visits whose box is not finished, and the finished ones opened last."""

    def with_code(self, code: str) -> list[str]:
        """Ids of the visits of this box."""

    def codes(self) -> Collection[str]:
        """Every box code, looked up when it is asked for."""

    def __len__(self) -> int: ...


class Register:
    """Follows a store's feed of visits, all of them in memory, until it is given an index to stand on.

    Calls block and may come from any thread. `people` names staff ids.
    """

    def __init__(
        self,
        store: VisitStore,
        sequence_of: Callable[[str], dict[str, Any] | None],
        people: Callable[[], dict[str, str]] = dict,
    ) -> None:
        self._store = store
        self._sequence_of = sequence_of
        self._people = people
        self._lines: dict[str, Line] = {}
        self._views: OrderedDict[tuple[str, str], tuple[int, View]] = OrderedDict()
        self._cursor: str | None = None
        self._index: Index | None = None
        self._lock = threading.Lock()

    def stand_on(self, index: Index) -> None:
        """From now on visits are found through `index`, and none is kept in memory but the views looked at last."""
        self._index = index

    def lines(self) -> list[Line]:
        """All visits, the one opened last first; on an index those that `Index.lines` names."""
        if self._index:
            found = self._index.lines()
        else:
            self._follow()
            found = [*self._lines.values()]
        return sorted(found, key=lambda line: (line.opened, line.visit), reverse=True)

    def __len__(self) -> int:
        if self._index:
            return len(self._index)
        self._follow()
        return len(self._lines)

    def codes(self) -> Collection[str]:
        if self._index:
            return self._index.codes()
        self._follow()
        return {line.code for line in self._lines.values()}

    def with_code(self, code: str) -> list[Line]:
        """The visits of this box: more than one when two tablets of one letter drew the same code."""
        if self._index:
            return [line for visit in self._index.with_code(code) if (line := self.line(visit))]
        return [line for line in self.lines() if line.code == code]

    def line(self, visit: str) -> Line | None:
        if self._index:
            return line_of(visit, self._store.visit(visit))
        self._follow()
        return self._lines.get(visit)

    def entries(self, visit: str) -> list[Entry]:
        return self._store.visit(visit)

    def sequence(self, visit: str) -> dict[str, Any]:
        """The document this visit was opened with. Raises NoSequence."""
        line = self.line(visit)
        sequence = self._sequence_of(line.sequence) if line else None
        if sequence is None:
            raise NoSequence(visit)
        return sequence

    def view(self, visit: str, language: str = "en") -> View:
        """`visit_state` of this visit, kept until entries arrive. Raises NoSequence."""
        entries = self._store.visit(visit)
        known = self._views.get((visit, language))
        if known and known[0] == len(entries):
            return known[1]
        view = visit_state(self.sequence(visit), entries, language, self._people())
        with self._lock:
            self._views[visit, language] = (len(entries), view)
            self._views.move_to_end((visit, language))
            while len(self._views) > _VIEWS_KEPT:
                self._views.popitem(last=False)
        return view

    def begin_again(self) -> None:
        """Look the store through anew, as after visits were taken out of it."""
        with self._lock:
            self._lines, self._cursor = {}, None
            self._views.clear()

    def _follow(self) -> None:
        with self._lock:
            more = True
            while more:
                page = self._store.visits(self._cursor)
                for touched in page.visits:
                    line = line_of(touched.visit, self._store.visit(touched.visit))
                    if line:
                        self._lines[touched.visit] = line
                self._cursor, more = page.cursor, page.more


_UNTOLD = {"number.point": "."}
"""What a document means that was written before there was such a key."""


def words_of(sequence: dict[str, Any], language: str) -> Words:
    """The catalogue of a sequence document as a function; English where a language lacks a text."""
    texts = sequence["texts"]
    own, english = texts.get(language, {}), _UNTOLD | texts["en"]
    return lambda key: own.get(key) or english.get(key) or key.rpartition(".")[2].replace("_", " ")


def line_of(visit: str, entries: list[Entry]) -> Line | None:
    """None for a visit whose `opened` entry has not arrived."""
    opened = next((entry for entry in entries if entry["kind"] == "opened"), None)
    if opened is None or not isinstance(opened["value"], dict):
        return None
    kinds = {entry["kind"] for entry in entries}
    return Line(
        visit=visit,
        code=str(opened["value"].get("box", "")),
        chair=str(opened["value"].get("chair", "")),
        author=opened["author"],
        opened=opened["at"],
        last=max(entry["at"] for entry in entries),
        entries=len(entries),
        sequence=str(opened["value"].get("digest", "")),
        signed="signature" in kinds,
        printed=any(_is_label(entry) for entry in entries),
        moved=tuple(movements(entries)),
        wanted=wanted(entries),
    )


def _is_label(entry: Entry) -> bool:
    """Whether a label was made; a prescription is printed too."""
    return (
        entry["kind"] == "printed" and isinstance(entry["value"], dict) and entry["value"].get("what") != "prescription"
    )
