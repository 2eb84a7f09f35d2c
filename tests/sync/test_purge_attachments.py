"""With a visit that a node lets go of its attachments go, once they are in the clinic's backup, and no others."""

import asyncio
import hashlib
import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from sync.backup import backed_up_at, remember, write_backup
from sync.desk import Desk
from sync.entry import Entry
from sync.errors import StoreFull
from sync.purge import DAY_MS, Purge
from tests.sync.conftest import Clock, Maker
from tests.sync.two_nodes import Nodes

PICTURE = b"a rim"
NAME = hashlib.sha256(PICTURE).hexdigest()


def _state(entries: list[Entry]) -> str:
    return "finished" if any(entry["kind"] == "outcome" for entry in entries) else "open"


class Purging(Nodes):
    state = staticmethod(_state)

    def purge(self) -> int:
        purge = Purge(self.chair, _state, 30, self.clock, blobs=self.chair_blobs)
        asyncio.run(self.forward().converse(purge.round()))
        return purge.purged

    def finished(self, maker: Maker, *, bytes_too: bool = True) -> str:
        """A visit with an attachment, handed on."""
        maker.visit = maker.stamper.new_id()
        self.attach(maker, PICTURE)
        self.chair.add([{**maker.reading(), "kind": "outcome"}])
        if bytes_too:
            self.put(PICTURE)
        self.once()
        return maker.visit

    def back_up(self) -> None:
        remember(self.clinic, write_backup(self.clinic, self.folder / "clinic.backup", devices=[]))

    @property
    def is_backed_up(self) -> bool:
        return Desk(self.clinic, state=_state, blobs=self.blobs).visits().visits[-1].backed_up


@pytest.fixture
def nodes(tmp_path: Path, clock: Clock) -> Iterator[Purging]:
    nodes = Purging(tmp_path, clock)
    yield nodes
    nodes.close()


def test_the_bytes_go_with_the_visit_and_the_clinic_keeps_them(nodes: Purging, maker: Maker) -> None:
    visit = nodes.finished(maker)
    nodes.back_up()
    nodes.clock.now += 31 * DAY_MS
    assert nodes.purge() == 2
    assert nodes.chair.visit(visit) == []
    assert nodes.chair_blobs.since(NAME) is None
    assert nodes.blobs.get(NAME) == PICTURE


def test_bytes_that_another_visit_names_stay(nodes: Purging, maker: Maker) -> None:
    nodes.finished(maker)
    nodes.back_up()
    nodes.clock.now += 31 * DAY_MS
    maker.visit = maker.stamper.new_id()
    nodes.attach(maker, PICTURE)
    assert nodes.purge() == 2
    assert nodes.chair_blobs.get(NAME) == PICTURE


def test_a_visit_whose_bytes_came_to_the_clinic_after_its_backup_or_never_stays(nodes: Purging, maker: Maker) -> None:
    visit = nodes.finished(maker, bytes_too=False)
    nodes.back_up()
    nodes.clock.now += 31 * DAY_MS
    assert not nodes.is_backed_up
    assert nodes.purge() == 0
    nodes.put(PICTURE)
    nodes.once()
    began = backed_up_at(nodes.clinic)
    assert began is not None
    os.utime(nodes.folder / "first" / NAME, ns=(0, (began + 1) * 1_000_000))
    assert not nodes.is_backed_up
    assert nodes.purge() == 0
    assert nodes.chair_blobs.get(NAME) == PICTURE
    os.utime(nodes.folder / "first" / NAME, ns=(0, began * 1_000_000))
    assert nodes.is_backed_up
    assert nodes.purge() == 2
    assert nodes.chair.visit(visit) == []


def test_bytes_left_behind_when_the_node_ended_in_between_go_with_the_next_look(
    nodes: Purging, maker: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    nodes.finished(maker)
    nodes.back_up()
    nodes.clock.now += 31 * DAY_MS

    def ended(*_args: object) -> None:
        raise StoreFull("the end came")

    with monkeypatch.context() as cut:
        cut.setattr(nodes.chair_blobs, "drop", ended)
        with pytest.raises(StoreFull):
            nodes.purge()
    assert nodes.chair_blobs.get(NAME) == PICTURE
    assert nodes.purge() == 0
    assert nodes.chair_blobs.since(NAME) is None
