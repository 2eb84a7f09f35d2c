"""A year of a clinic: nothing lost, files bounded. THREEMARK_YEAR=1 takes every night of it, with 4 visits a day."""

import os
import resource

import pytest

from sync import seal
from sync.backup import open_backup
from sync.disk import Disk
from sync.entry import canonical
from sync.sql_store import SqlStore
from tests.running.year import KEPT, FullAtTimes, Year

WHOLE = os.environ.get("THREEMARK_YEAR") == "1"


@pytest.fixture(scope="module")
def year(tmp_path_factory):
    folder = tmp_path_factory.mktemp("year")
    with pytest.MonkeyPatch.context() as patch:
        write = Disk.write
        patch.setattr(Disk, "write", lambda disk, file, data: FullAtTimes.write_or_not(disk, file, data, write))
        year = Year(folder, visits=2 if WHOLE else 1, days=1 if WHOLE else 30)
        year.run()
    yield year
    year.close()


@pytest.mark.timeout(3600 if WHOLE else 120)
def test_nothing_that_was_entered_in_a_year_is_lost(year):
    held = {entry["id"]: canonical(entry) for entry in year.clinic.store.since(None, 10**6).entries}
    assert held == year.made
    drawer = {record.entry["id"] for record in year.chair.refused()}
    assert drawer == year.refused
    assert all(not tablet.outbox for tablet in year.tablets)
    assert year.removed.outbox.keys() == year.refused
    for store in (year.clinic.store, year.chair):
        assert seal.verify_store(store) is None


def test_the_last_backup_of_the_year_gives_all_of_it_back(year, tmp_path):
    last = max((year.folder / "backups").iterdir())
    store = SqlStore(f"sqlite:///{tmp_path}/restored.sqlite")
    open_backup(last).restore_into(store)
    assert {entry["id"]: canonical(entry) for entry in store.since(None, 10**6).entries} == year.made
    store.close()


def test_a_full_disk_failed_the_backup_and_said_so_and_the_older_ones_stayed(year):
    assert any("No space left on device" in failed for failed in year.failed)
    assert year.nightly.failed == ""


def test_files_stay_bounded_while_visits_come_and_go(year):
    assert len(list((year.folder / "backups").iterdir())) == KEPT
    third = len(year.sizes) // 3
    assert max(year.sizes[-third:]) < 2 * max(year.sizes[:third])
    visits = {entry["visit"] for entry in year.chair.since(None, 10**6).entries}
    assert len(visits) <= 4 * year.a_step * (1 + 31 // year.days)
    assert all(len(tablet.visits) <= 2 * year.a_step * (1 + 31 // year.days) for tablet in year.tablets)
    inside = {file.name for file in (year.folder / "clinic").iterdir()}
    assert not [name for name in inside if name.endswith(".new")]
    assert "clinic.sqlite.before-0001" in inside
    if WHOLE:
        megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"{len(year.made):,} entries; chair {year.sizes[-1]:,} bytes; {megabytes:.0f} MB at most in memory")
        assert megabytes < 1024
