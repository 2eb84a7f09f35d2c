"""A tablet by the rules of `sync/browser/tm_replica_store.js`, `_hop.js` and `_send.js`, one transaction a method.

What is in its dicts is on its disk: the browser says so only then (`durability: strict`). Between two transactions the
page may be closed: a conversation yields `PAUSE` there.
"""

import json
import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from sync import seal
from sync.clock import HybridClock, Ids
from sync.entry import Entry, canonical, check_envelope, frontier, in_order, read, time_text
from sync.errors import HopError
from sync.hop import Call, Steps
from sync.models import Answer, Entries, HeadModel, RefusedModel, VisitModel, Visits

__all__ = ["PAUSE", "Tablet"]

PAUSE: Any = None
BATCH = 4
DAY_MS = 24 * 3600 * 1000

LOST = "The node lost entries it had acknowledged."


@dataclass
class Visit:
    """A visit's own line: what the node last said of it, how far it was fetched, whether all of it is here."""

    node: VisitModel | None = None
    cursor: str | None = None
    complete: bool = True


class Tablet:
    """Entries, those still to be sent, those turned away, and what it remembers of the node."""

    def __init__(self, name: str, clock: Callable[[], int], draw: random.Random) -> None:
        self.name = name
        self.entries: dict[str, Entry] = {}
        self.outbox: dict[str, None] = {}
        self.refused: dict[str, int] = {}
        self.visits: dict[str, Visit] = {}
        self.head: HeadModel | None = None
        self.cursor: str | None = None
        self.alarm = ""
        self._clock = clock
        self._ids = Ids(clock, draw.getrandbits)
        self._stamps = HybridClock(clock)

    def make(self, visit: str, kind: str, item: str | None, value: Any, of: str | None = None) -> Entry:
        """A new entry, kept and waiting to be sent: what the person who made it takes for saved."""
        now = self._clock()
        draft = {
            "v": 1,
            "id": self._ids.next(),
            "visit": visit,
            "kind": kind,
            "item": item,
            "value": value,
            "of": of,
            "seen": frontier(self.of_visit(visit), ["adjustment"]),
            "at": time_text(now),
            "clock": list(self._stamps.tick()),
            "device": self.name,
            "author": "staff-1",
        }
        # A browser knows no difference between 20 and 20.0.
        entry = read(canonical(draft))
        self.entries[entry["id"]] = entry
        self.outbox[entry["id"]] = None
        self.visits.setdefault(visit, Visit())
        return entry

    def new_id(self) -> str:
        return self._ids.next()

    def of_visit(self, visit: str) -> list[Entry]:
        return in_order(entry for entry in self.entries.values() if entry["visit"] == visit)

    def round(self) -> Steps[None]:
        """Everything once. Raises HopError; what was done before stays done."""
        yield from self.push()
        yield from self.pull()

    def push(self) -> Steps[None]:
        began, after, left = self._clock(), "", 0
        while batch := self.to_send(after, began):
            after = batch[-1]["id"]
            answer: Answer = yield Call("POST", "/sync/entries", Answer, {}, self._body(batch))
            # The head first: see `#send` in tm_replica_send.js.
            self.compare_heads(answer.head, answer.holds)
            yield PAUSE
            self.settle(answer.stored, answer.settled, answer.refused)
            yield PAUSE
            named = {*answer.stored, *answer.settled, *(row.id for row in answer.refused)}
            left += sum(entry["id"] not in named for entry in batch)
        if left:
            raise HopError("The node did not say that it keeps everything it was sent.")

    def pull(self) -> Steps[None]:
        more = True
        while more:
            page: Visits = yield Call("GET", "/sync/visits", Visits, self._asked())
            yield PAUSE
            if self.compare_heads(page.head, page.holds):
                continue
            for row in page.visits:
                self.heard(row)
                yield PAUSE
            self.cursor, more = page.cursor, page.more
        for visit in [visit for visit, line in self.visits.items() if not line.complete]:
            yield from self._fetch(visit)

    def to_send(self, after: str, now: int) -> list[Entry]:
        due = [entry_id for entry_id, again in self.refused.items() if again <= now]
        ids = sorted(entry_id for entry_id in {*self.outbox, *due} if entry_id > after)
        return [self.entries[entry_id] for entry_id in ids[:BATCH]]

    def settle(self, stored: Iterable[str], settled: Iterable[str], refused: Iterable[RefusedModel]) -> None:
        for entry_id in [*stored, *settled]:
            self.outbox.pop(entry_id, None)
            self.refused.pop(entry_id, None)
        for row in refused:
            if row.id in self.entries:
                self.outbox.pop(row.id, None)
                self.refused[row.id] = self._clock() + DAY_MS

    def compare_heads(self, head: HeadModel, holds: bool) -> bool:
        """Whether the node is another one, or stands further back than it once did: all is offered to it again."""
        before = self.head
        other = before is not None and before.epoch != head.epoch
        lost = before is not None and not other and (not holds or _fell_back(before, head))
        if other or lost:
            self.offer_again()
        if lost:
            self.alarm = LOST
        self.head = head
        return other or lost

    def offer_again(self) -> None:
        self.outbox |= {entry_id: None for entry_id, entry in self.entries.items() if entry["device"] == self.name}
        self.refused.clear()
        for line in self.visits.values():
            line.node, line.cursor = None, None
        self.cursor = None

    def heard(self, row: VisitModel) -> None:
        known = [entry for entry in self.of_visit(row.visit) if entry["id"] not in self.outbox]
        line = self.visits.setdefault(row.visit, Visit())
        line.node, line.complete = row, seal.digest(known) == row.digest

    def merge(self, entries: Iterable[Entry]) -> None:
        for entry in entries:
            if check_envelope(entry) is None and entry["id"] not in self.entries:
                self.entries[entry["id"]] = entry
                self.visits.setdefault(entry["visit"], Visit())
                self._stamps.merge((entry["clock"][0], entry["clock"][1]))

    def _fetch(self, visit: str) -> Steps[None]:
        began = after = self.visits[visit].cursor
        node = self.visits[visit].node
        more = True
        while more:
            params = {"visit": visit, **({"after": after} if after else {})}
            page: Entries = yield Call("GET", "/sync/entries", Entries, params)
            self.merge(page.entries)
            yield PAUSE
            after, more = page.cursor, page.more
        short = len(self.of_visit(visit)) < (node.entries if node else 0)
        line = self.visits[visit]
        line.cursor, line.complete = None if short and began else after, not short

    def _asked(self) -> dict[str, str]:
        known = self.head.as_text() if self.head else None
        given = {"after": self.cursor, "known": known}
        return {name: value for name, value in given.items() if value is not None}

    def _body(self, batch: list[Entry]) -> bytes:
        known = self.head.model_dump() if self.head else None
        return json.dumps({"entries": batch, "known": known}).encode()


def _fell_back(before: HeadModel, now: HeadModel) -> bool:
    return now.position < before.position or (now.position == before.position and now.hash != before.hash)
