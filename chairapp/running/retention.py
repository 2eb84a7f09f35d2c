"""Visits older than the clinic keeps them: listed for the manager, who erases them or not. Nothing goes by itself.

How long a record has to be kept, and when it has to go, is for local law.
"""

from collections.abc import Callable, Iterator
from typing import NamedTuple

from chairapp.clinic import CLINIC_VISIT, ClinicDocument
from chairapp.judge.entries import NEVER_ERASED
from chairapp.node.node import Node
from chairapp.register import Line
from sync.clock import wall_ms
from sync.erased import ERASURE

__all__ = ["SHOWN", "Old", "Retention"]

SHOWN = 50
DAY_MS = 24 * 3600 * 1000


class Old(NamedTuple):
    """A visit, when its last entry came (ms since 1970), and how many of its values are still there to be erased."""

    visit: str
    last: int
    values: int


class Retention:
    """`days` is how long a visit is kept after its last entry; None where nobody has set it. Calls block."""

    def __init__(self, node: Node, days: int | None, now: Callable[[], int] = wall_ms) -> None:
        self._node = node
        self._now = now
        self.days = days

    def old(self, most: int = SHOWN) -> list[Old]:
        """The oldest first, at most so many; without those of which nothing is left to erase."""
        found: list[Old] = []
        for visit in self._visits() if self.days else ():
            last = max(self._node.store.received(visit).values())
            if self._now() - last <= (self.days or 0) * DAY_MS:
                # The feed gives the least recently touched first: all behind are younger.
                break
            if values := self.erasable(visit):
                found.append(Old(visit, last, len(values)))
            if len(found) == most:
                break
        return found

    def one(self, visit: str) -> Old | None:
        """This visit if it is older than the retention and something is left to erase."""
        received = self._node.store.received(visit)
        last = max(received.values(), default=0)
        if not self.days or not received or visit == CLINIC_VISIT or self._now() - last <= self.days * DAY_MS:
            return None
        values = len(self.erasable(visit))
        return Old(visit, last, values) if values else None

    def erasable(self, visit: str) -> list[str]:
        """Ids of its entries with a value that can be erased and was not yet."""
        entries = self._node.store.visit(visit)
        gone = {entry["of"] for entry in entries if entry["kind"] == ERASURE}
        return [
            entry["id"]
            for entry in entries
            if entry["kind"] not in NEVER_ERASED and entry["id"] not in gone and entry["value"] is not None
        ]

    def erase(self, visit: str, reason: str, author: str) -> int:
        """Erase every value of a visit; gives how many. One that was cut off is gone on with by the next.

        Raises NodeError and StoreError.
        """
        found = self.erasable(visit)
        for entry in found:
            self._node.erase(entry, reason, author)
        return len(found)

    def line(self, visit: str) -> Line | None:
        return self._node.register.line(visit)

    def clinic(self) -> ClinicDocument:
        return self._node.clinic()

    def _visits(self) -> Iterator[str]:
        cursor, more = None, True
        while more:
            page = self._node.store.visits(cursor)
            yield from (touched.visit for touched in page.visits if touched.visit != CLINIC_VISIT)
            cursor, more = page.cursor, page.more
