"""The nightly backup: when it is due, that it holds everything, and that an old one goes only for a good new one."""

import asyncio
import os
import threading
from datetime import UTC, datetime, timedelta

import pytest

from chairapp.node.settings import SettingError, read_settings
from chairapp.running import nightly
from chairapp.running.nightly import Nightly, due, prune, taken
from sync.backup import backed_up_to, open_backup
from sync.errors import BackupError

EVENING = datetime(2026, 11, 25, 21, 5, tzinfo=UTC)
DAY = timedelta(days=1)


class Now:
    at = EVENING

    def __call__(self):
        return self.at


def names(folder):
    return sorted(file.name for file in folder.iterdir())


@pytest.mark.parametrize(
    ("last", "expected"),
    [
        (None, True),
        (EVENING - DAY, True),
        (EVENING.replace(minute=0), False),
        (EVENING.replace(hour=20), True),
        (EVENING - 40 * DAY, True),
    ],
)
def test_a_backup_is_due_once_after_its_hour_and_a_missed_one_is_made_up(last, expected):
    assert due(EVENING, 21, last) is expected


def test_before_its_hour_the_backup_of_the_evening_before_counts():
    morning = EVENING + timedelta(hours=11)
    assert not due(morning, 21, EVENING)
    assert due(morning, 21, EVENING - DAY)


def test_every_night_a_backup_is_taken_read_again_and_noted_and_old_ones_go(node, maker):
    now, folder = Now(), node.settings.backup_to
    (folder / "somebody's own.backup").touch()
    (folder / ".threemark-20261101T210000Z.backup.new").touch()
    nights = Nightly(node, now)
    for night in range(5):
        node.store.add(maker.readings(3))
        now.at = EVENING + night * DAY
        nights.take_if_due()
        nights.take_if_due()
        assert nights.failed == ""
    made = [f"threemark-202611{25 + night}T210500Z.backup" for night in range(2, 5)]
    assert names(folder) == ["somebody's own.backup", *made]
    assert open_backup(folder / made[-1]).head == node.store.head()
    assert backed_up_to(node.store) == node.store.head().position
    assert {"FORMAT", "node.toml", "clinic.json"} <= set(open_backup(folder / made[-1]).file_names())


def test_a_backup_that_fails_leaves_the_old_ones_says_why_and_is_tried_again_in_an_hour(node, maker, monkeypatch):
    now, folder = Now(), node.settings.backup_to
    nights = Nightly(node, now)
    node.store.add(maker.readings(3))
    nights.take_if_due()
    before = names(folder)

    def full(*_):
        raise BackupError("the disk is full.")

    monkeypatch.setattr(nightly, "backup_beside", full)
    now.at += DAY
    nights.take_if_due()
    assert (names(folder), "the disk is full." in nights.failed) == (before, True)
    monkeypatch.undo()
    now.at += timedelta(minutes=59)
    nights.take_if_due()
    assert names(folder) == before
    now.at += timedelta(minutes=1)
    nights.take_if_due()
    assert (len(names(folder)), nights.failed) == (2, "")


def test_a_folder_that_is_away_is_named_and_never_made(node, tmp_path):
    node.settings.backup_to.rmdir()
    nights = Nightly(node, Now())
    nights.take_if_due()
    assert nights.failed == f"{tmp_path / 'backups'}: there is no such folder, see that its disk is there."
    assert not (tmp_path / "backups").exists()


def test_one_dated_by_a_wrong_clock_neither_puts_off_the_next_nor_lets_the_new_one_go(tmp_path):
    for year in (2031, 2032):
        (tmp_path / f"threemark-{year}0101T210000Z.backup").touch()
    fresh = tmp_path / "threemark-20261125T210500Z.backup"
    assert taken(tmp_path, EVENING) is None
    fresh.touch()
    assert taken(tmp_path, EVENING) == EVENING
    assert prune(tmp_path, 1, fresh) == ["threemark-20310101T210000Z.backup", "threemark-20320101T210000Z.backup"]
    assert names(tmp_path) == [fresh.name]


def test_others_are_served_while_a_backup_is_taken(node, monkeypatch):
    begun, go_on = threading.Event(), threading.Event()
    in_thread = []

    def slow(folder, store, to):
        in_thread.append(threading.get_ident())
        begun.set()
        assert go_on.wait(30)
        raise BackupError("enough.")

    monkeypatch.setattr(nightly, "backup_beside", slow)

    async def serve():
        looking = asyncio.create_task(Nightly(node, Now()).look())
        while not begun.is_set():
            await asyncio.sleep(0)
        go_on.set()
        await looking

    asyncio.run(serve())
    assert in_thread != [threading.get_ident()]


@pytest.mark.parametrize(
    ("flags", "says"),
    [
        ({"backup_to": "backups"}, "--backup-to 'backups': write the whole path of a folder"),
        ({"backup_hour": "24"}, "--backup-hour '24': write an hour from 0 to 23"),
        ({"backup_keep": "0"}, "--backup-keep '0': write a number from 1"),
        ({"backup_days": "soon"}, "--backup-days 'soon': write a number of days"),
    ],
)
def test_nonsense_in_its_settings_is_refused_in_one_line(flags, says):
    with pytest.raises(SettingError) as caught:
        read_settings("clinic", os.curdir, flags, {}, {})
    assert str(caught.value).startswith(says)
