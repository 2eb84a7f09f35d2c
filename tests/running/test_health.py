"""What is found out of a node, and the card that tells the manager."""

import asyncio
import shutil
from collections import namedtuple
from datetime import datetime

import pytest

from chairapp.running import running
from chairapp.running.concerns import GB, concerns
from chairapp.running.health import card
from chairapp.running.nightly import Nightly
from chairapp.running.running import facts_of
from sync.backup import BACKED_UP
from sync.errors import StoreAway
from tests.running.conftest import node_of

Usage = namedtuple("Usage", "total used free")


@pytest.fixture(autouse=True)
def plenty(monkeypatch):
    """A disk with room, whatever the machine has."""
    monkeypatch.setattr(shutil, "disk_usage", lambda _: Usage(500 * GB, 100 * GB, 400 * GB))


def test_a_node_that_is_well_says_ok_and_shows_no_card(node, maker):
    node.store.add(maker.readings(2))
    now = node.store.received(maker.visit)
    at = max(now.values())
    nights = Nightly(node, lambda: datetime.fromtimestamp(at / 1000).astimezone())
    nights.take_if_due()
    found = concerns(facts_of(node, at))
    # In a test the backups lie beside the data.
    assert [concern.what for concern in found] == ["backup_place"]
    assert node.store.kept(BACKED_UP)["position"] == 2
    assert card([]) == ""


def test_a_chair_node_expects_no_backup_of_its_own(tmp_path, maker):
    node = node_of(tmp_path / "chair", "chair", clinic="http://127.0.0.1:9")
    node.store.add(maker.readings(2))
    assert concerns(facts_of(node, max(node.store.received(maker.visit).values()))) == []
    node.store.close()


def test_a_full_disk_and_a_failed_backup_are_told(node, monkeypatch):
    monkeypatch.setattr(shutil, "disk_usage", lambda _: Usage(500 * GB, 500 * GB, 0))
    node.settings.backup_to.rmdir()
    around = running.Running(node)
    around.nightly.take_if_due()
    told = {concern.what: concern for concern in around.concerns()}
    assert told["disk"].serious
    assert "there is no such folder" in told["backup_failed"].told


def test_what_the_card_shows_is_escaped(tmp_path):
    node = node_of(tmp_path / "data")
    failed = concerns(facts_of(node, 1_795_600_000_000, failed="<script>alert(1)</script>"))
    assert "<script>" not in card(failed)
    assert "&lt;script&gt;" in card(failed)
    node.store.close()


def test_a_store_that_cannot_be_asked_is_told_as_that(node, monkeypatch):
    def away():
        raise StoreAway("The database does not answer.")

    monkeypatch.setattr(node.store, "head", away)
    assert [(concern.what, concern.serious) for concern in running.Running(node).concerns()] == [("store", True)]


def test_while_a_node_runs_its_backups_are_taken_and_each_concern_is_logged_once(node, monkeypatch, maker):
    logged = []
    monkeypatch.setattr(running, "EVERY", 0)
    monkeypatch.setattr(running, "log", lambda event, **fields: logged.append((event, fields.get("what"))))
    node.store.add(maker.readings(2))
    around = running.Running(node)
    looked = iter([OSError(5, "I/O error")])
    look = around.nightly.look

    async def look_or_fail():
        for error in looked:
            raise error
        await look()

    monkeypatch.setattr(around.nightly, "look", look_or_fail)

    async def serve():
        async with around.life():
            while logged.count(("concern", "backup_place")) + len(list(node.settings.backup_to.glob("*.backup"))) < 2:
                await asyncio.sleep(0)
            for _ in range(200):
                await asyncio.sleep(0)

    asyncio.run(serve())
    assert logged.count(("concern", "backup_place")) == 1
    assert logged[0] == ("running.put_off", None)
    assert node.store.kept(BACKED_UP)["position"] == 2
