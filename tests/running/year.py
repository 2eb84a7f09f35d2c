"""A year of a small clinic on a simulated clock: tablets, a chair node, a clinic server, all real but the clock.

What happens in it: visits every step, handed on and backed up, old ones purged; in month 5 the clinic server's database
is of an earlier program and is brought up to date; in month 7 the disk is full for a step; in month 9 a tablet is
removed while it still holds entries.
"""

import errno
import json
import os
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

from chairapp.node.node import Node, devices_of, open_store, sqlite_url
from chairapp.node.settings import read_settings
from chairapp.running.nightly import Nightly
from chairapp.visit import stage
from sync.access import Device, FileDevices
from sync.desk import Desk
from sync.disk import Disk
from sync.entry import Stamper, canonical
from sync.errors import StoreFull
from sync.hop import Hop
from sync.models import Batch
from sync.purge import DAY_MS, Purge
from sync.sql_store import SqlStore
from sync.tiny_store import TinyStore
from tests.running.conftest import SEQUENCE_DIGEST, set_up
from tests.sync.conftest import MORNING, Clock

__all__ = ["KEPT", "Year"]

KEPT = 7
_FIRST = Path(__file__).parents[1] / "sync" / "golden_stores" / "sqlite-0001.sqlite"


class FullAtTimes(Disk):
    """Everything but SQLite writes through `Disk.write`: the journal of a chair node, backups."""

    full = False

    @classmethod
    def write_or_not(cls, disk: Disk, file: int, data: bytes, write=Disk.write) -> int:
        if cls.full:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return write(disk, file, data)


class Tablet:
    """What it has yet to hand in, and the visits it holds until it is told that they are in the backup."""

    def __init__(self, name: str, clock: Clock) -> None:
        self.device = Device(name, "tablet", name[0], f"Tablet {name}")
        self.stamper = Stamper(name, wall=clock)
        self.outbox: dict[str, dict] = {}
        self.visits: set[str] = set()

    def visit(self, box: str) -> list[dict]:
        visit, made = self.stamper.new_id(), []
        about = {"sequence": "jaw-relation", "digest": SEQUENCE_DIGEST, "box": box, "chair": "1", "language": "en"}
        for kind, item, value in (
            ("opened", None, about),
            *(("note", "seating", f"invented note {number}") for number in range(5)),
            ("movement", None, {"to": "finished"}),
        ):
            made.append(self.stamper.entry(visit, kind, author="clin-1", item=item, value=value))
        self.visits.add(visit)
        self.outbox |= {entry["id"]: entry for entry in made}
        return made

    def hand_in(self, desk: Desk) -> None:
        try:
            answer = desk.take(Batch(entries=[*self.outbox.values()]), self.device)
        except StoreFull:
            return
        for entry in answer.stored:
            del self.outbox[entry]

    def let_go(self, desk: Desk) -> None:
        self.visits = {visit for visit in self.visits if not desk.visit(visit).backed_up}


class Year:
    """`visits` a step of `days` days; `made` are the canonical bytes of every entry by id, `refused` those of a removed
    tablet.
    """

    def __init__(self, folder: Path, visits: int, days: int) -> None:
        self.folder, self.a_step, self.days = folder, visits, days
        self.clock = Clock()
        self.made: dict[str, bytes] = {}
        self.refused: set[str] = set()
        self.sizes: list[int] = []
        self.failed: list[str] = []
        (folder / "backups").mkdir()
        set_up(folder / "clinic")
        self._open_clinic()
        self.device, _ = self.clinic.devices.add("node", "Chair node", "M")
        self.chair = TinyStore(folder / "chair", now=self.clock)
        self.chair_desk = Desk(self.chair, None, stage, self.clock)
        self.hop = Hop(self.chair, self.clock)
        self.purge = Purge(self.chair, stage, 30, now=self.clock)
        self.tablets = [Tablet("A", self.clock), Tablet("B", self.clock)]
        self.removed: Tablet | None = None

    def run(self) -> None:
        happens = {5: self._upgrade, 7: self._fill_disk, 9: self._remove_tablet}
        month = 0
        for day in range(0, 365, self.days):
            self.clock.now = MORNING + day * DAY_MS
            FullAtTimes.full = False
            if day // 30 > month:
                month = day // 30
                happens.get(month, lambda: None)()
            self._step()
        self.clock.now += DAY_MS
        self._step()

    def close(self) -> None:
        self.chair.close()
        self.clinic.store.close()

    def _step(self) -> None:
        for tablet in self.tablets:
            for _ in range(self.a_step):
                made = tablet.visit("7KQ4M2X9")
                self.made |= {entry["id"]: canonical(entry) for entry in made}
            tablet.hand_in(self.chair_desk)
        if not FullAtTimes.full:
            self._converse(self.hop.round())
        self.nightly.take_if_due()
        if self.nightly.failed:
            self.failed.append(self.nightly.failed)
        if not FullAtTimes.full:
            self._converse(self.purge.round())
            for tablet in self.tablets:
                tablet.let_go(self.chair_desk)
        self.clock.now += 12 * 3600 * 1000
        self.sizes.append(sum(file.stat().st_size for file in (self.folder / "chair").rglob("*") if file.is_file()))

    def _converse(self, steps) -> None:
        """What the routes of the clinic server answer, without HTTP."""
        try:
            call = next(steps)
            while True:
                call = steps.send(call.model.model_validate_json(self._answer(call).model_dump_json()))
        except StopIteration:
            return

    def _answer(self, call):
        desk, given = self.clinic_desk, call.params
        if call.method == "POST":
            return desk.take(Batch.model_validate(json.loads(call.body)), self.device)
        if call.path == "/sync/entries":
            return desk.entries(given.get("visit", ""), given.get("after"))
        if call.path == "/sync/visits":
            return desk.visits(given.get("after"), known=given.get("known"))
        return desk.visit(call.path.rpartition("/")[2])

    def _open_clinic(self) -> None:
        """As a start of the server does it, with the simulated clock."""
        made = set_up(self.folder / "clinic")
        open_store(made).close()
        flags = {"backup_to": str(self.folder / "backups"), "backup_keep": str(KEPT), "backup_hour": "0"}
        settings = read_settings("clinic", made.path, flags, {}, {})
        self.clinic = Node(settings, made, SqlStore(sqlite_url(made.database), now=self.clock))
        self.clinic_desk = Desk(self.clinic.store, None, stage, self.clock)
        self.nightly = Nightly(self.clinic, lambda: datetime.fromtimestamp(self.clock.now / 1000, UTC))

    def _upgrade(self) -> None:
        """The database as the first program left it, its devices in a file; the present one is started on it."""
        known = self.clinic.devices.with_digests()
        self.clinic.store.close()
        folder = self.clinic.folder
        FileDevices(folder.keys / "devices.json").take_over(known)
        _to_the_first_layout(folder.database)
        self._open_clinic()
        assert devices_of(folder, self.clinic.store).with_digests() == known

    def _fill_disk(self) -> None:
        FullAtTimes.full = True

    def _remove_tablet(self) -> None:
        """It made a visit it had not handed in; a new one takes its place."""
        gone = self.tablets.pop()
        gone.device = gone.device._replace(revoked=self.clock.now)
        gone.hand_in(self.chair_desk)
        late = gone.visit("7KQ4M2X9")
        self.refused |= {entry["id"] for entry in late}
        gone.hand_in(self.chair_desk)
        self.removed = gone
        self.tablets.append(Tablet("C", self.clock))


def _to_the_first_layout(file: Path) -> None:
    """Without the tables and columns the first program did not have."""
    first = _tables(_FIRST)
    with sqlite3.connect(file) as database:
        for table, columns in _tables(file).items():
            if table not in first:
                database.execute(f"DROP TABLE {table}")
            for column in columns - first.get(table, columns):
                database.execute(f"ALTER TABLE {table} DROP COLUMN {column}")
    database.close()


def _tables(file: Path) -> dict[str, set[str]]:
    with sqlite3.connect(file) as database:
        names = [name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        found = {name: {row[1] for row in database.execute(f"PRAGMA table_info({name})")} for name in names}
    database.close()
    return found
