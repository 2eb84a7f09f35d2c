"""What the manager's pages are made from; whoever puts a node together gives it. Siblings are functions only."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, Protocol

from chairapp.audit.figures import Figures
from chairapp.audit.listing import Listing
from chairapp.audit.summary import Summaries
from chairapp.clinic import ClinicDocument
from chairapp.register import Register
from sync.access import Device
from sync.store import Record

__all__ = ["Found", "Heard", "Sources", "Verified"]

Doc = dict[str, Any]


class Found(NamedTuple):
    """What a typed box code came to: the visits with it, or what is wrong with it and the nearest known codes."""

    visits: list[str]
    wrong: str = ""
    near: Sequence[str] = ()


class Verified(NamedTuple):
    """`flaw` is the first thing that is wrong, or None; `sentence` says what was looked at."""

    flaw: str | None
    sentence: str


class Heard(NamedTuple):
    """A paired device: when it last called here, ms since 1970 (0: never), and how many entries waited there then.

    `wrote` is when the latest entry it made was written, "" without one: a tablet at a chair node calls that node.
    """

    device: Device
    at: int
    waiting: int | None
    wrote: str = ""


class Kept(Protocol):
    """Small values beside the entries (`sync.store.Store` keeps them)."""

    def keep(self, name: str, value: Any) -> None: ...
    def kept(self, name: str) -> Any: ...


class Drawer(Protocol):
    """The refused entries (`sync.store.Store` has them)."""

    def refused(self) -> list[Record]: ...
    def settle(self, key: str) -> bool: ...


@dataclass(frozen=True)
class Sources:
    """`received` gives the times, ms since 1970, at which the entries of a visit came here; `proof` what a signature
    entry's proof is worth; `codes` spells a box code; `where` names a device.
    """

    register: Register
    clinic: Callable[[], ClinicDocument]
    sequence: Callable[[], Doc]
    summaries: Summaries
    listing: Listing
    figures: Figures
    kept: Kept
    drawer: Drawer
    received: Callable[[str], dict[str, int]]
    find: Callable[[str], Found]
    proof: Callable[[Doc], str]
    label_on: Callable[[Doc, Callable[[str], str]], str]
    devices: Callable[[], list[Heard]]
    verify: Callable[[], Verified]
