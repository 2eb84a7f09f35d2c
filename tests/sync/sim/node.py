"""A chair node or a clinic server: the real store, desk and hop on a modelled disk, or on a real database file.

`acknowledged` are the ids it ever said to be stored, `given` the heads it gave out: until its disk is replaced all of
that must be found in it, however often it died.
"""

import json
import random
import sqlite3
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from sqlalchemy import event

from sync.access import Device
from sync.desk import Check, Desk
from sync.errors import NotPaired
from sync.hop import Call, Hop
from sync.models import Batch, HeadModel
from sync.sql_store import SqlStore
from sync.store import Link, Store
from sync.tiny_store import TinyStore
from tests.sync.sim.disk import Gone, ModelDisk

__all__ = ["Node", "SqlNode", "TinyNode"]


class Node:
    """A process with a store. `up` until it dies; `start` opens the store again."""

    def __init__(self, name: str, clock: Callable[[], int], draw: random.Random, check: Check) -> None:
        self.name = name
        self.up = False
        self.unpaired = False
        self.acknowledged: set[str] = set()
        self.given: list[HeadModel] = []
        self.draw = draw
        self.clock = clock
        self._check = check
        self.store: Store
        self.desk: Desk
        self.hop: Hop
        self.start()

    def start(self, *, power: bool = False) -> None:
        """After a kill, or a power cut. Raises SyncError when the disk is not in order."""
        self.store = self.open(power)
        self.desk = Desk(self.store, self._check, None, self.clock)
        self.hop = Hop(self.store, self.clock)
        self.up = True

    def open(self, power: bool) -> Store:
        raise NotImplementedError

    def doom(self) -> None:
        """Let the process die within the next few steps of its store."""
        raise NotImplementedError

    def close(self) -> None:
        """Let go of what is real."""

    def image(self) -> Any:
        """Its disk as it is; for `put_back`."""
        raise NotImplementedError

    def put_back(self, image: Any) -> None:
        """Replace its disk by an older image of it and start."""
        raise NotImplementedError

    def empty(self) -> Any:
        """The image of a disk without a store."""
        raise NotImplementedError

    def restore(self, links: Iterable[Link]) -> None:
        """A new store, filled from a backup."""
        self.put_back(self.empty())
        self.store.fill(links)
        self.forget()

    def forget(self) -> None:
        """The disk was replaced: what it had acknowledged is for the others to bring back."""
        self.acknowledged = self.ids()
        self.given = []

    def ids(self) -> set[str]:
        return {entry["id"] for entry in self.store.since(None, 1_000_000).entries}

    def answer(self, call: Call, device: Device) -> bytes:
        """What the routes do, without HTTP. Raises SyncError; Gone when the process dies of it."""
        if self.unpaired:
            raise NotPaired("Nobody here knows this device token.", field="Authorization")
        if call.path == "/sync/entries" and call.method == "POST":
            answer = self.desk.take(Batch.model_validate(json.loads(call.body)), device)
            self.acknowledged.update(answer.stored)
            self.given.append(answer.head)
            return answer.model_dump_json().encode()
        if call.path == "/sync/entries":
            found = self.desk.entries(call.params.get("visit", ""), call.params.get("after"), 3)
        else:
            found = self.desk.visits(call.params.get("after"), 3, call.params.get("known"))
        self.given.append(found.head)
        return found.model_dump_json().encode()


class TinyNode(Node):
    """On a modelled disk."""

    folder = Path("/node")

    def open(self, power: bool) -> Store:
        if not hasattr(self, "disk"):
            self.disk = ModelDisk(self.draw)
        self.disk.restart(power=power)
        return TinyStore(self.folder, disk=self.disk, now=self.clock)

    def doom(self) -> None:
        self.disk.die_at = self.disk.steps + self.draw.randint(1, 12)

    def image(self) -> Any:
        return self.disk.image(self.folder)

    def put_back(self, image: Any) -> None:
        self.disk.restart(power=False)
        self.disk.put_back(self.folder, image)
        self.start()
        self.forget()

    def empty(self) -> Any:
        return {}


class SqlNode(Node):
    """On an SQLite file. It is killed before a commit; what a power cut does to SQLite's files is SQLite's affair."""

    file: Path
    template: bytes = b""

    def open(self, power: bool) -> Store:
        self._doomed = 0
        if hasattr(self, "store"):
            self.store.close()
        elif self.template:
            self.file.write_bytes(self.template)
        store = SqlStore(f"sqlite:///{self.file}", now=self.clock)
        event.listen(store.engine, "commit", self._commit)
        return store

    def doom(self) -> None:
        self._doomed = self.draw.randint(1, 3)

    def image(self) -> Any:
        copy = sqlite3.connect(":memory:")
        source = sqlite3.connect(self.file)
        source.backup(copy)
        source.close()
        return copy.serialize()

    def put_back(self, image: Any) -> None:
        self.close()
        self.file.write_bytes(image)
        self.start()
        self.forget()

    def empty(self) -> Any:
        return b""

    def close(self) -> None:
        self.store.close()
        for left in self.file.parent.glob(self.file.name + "*"):
            left.unlink()

    def _commit(self, _connection: object) -> None:
        if self._doomed:
            self._doomed -= 1
            if not self._doomed:
                raise Gone
