"""What the manager is told: neither too early nor too late, one line each, with what to do."""

import pytest

from chairapp.running.clock_watch import ClockWatch
from chairapp.running.concerns import GB, MB, Backups, Facts, concerns
from chairapp.running.skew import recent, skews
from sync.entry import time_text
from sync.tiny_store import TinyStore
from tests.sync.conftest import Maker

DAY = 24 * 3600 * 1000
NOW = 1_795_600_000_000


def told(**changed):
    facts = {"now": NOW, "free": 400 * GB, "whole": 500 * GB, "newest": NOW - DAY, "backups": Backups(NOW, 2)}
    return {concern.what: concern for concern in concerns(Facts(**facts | changed))}


def test_a_node_that_is_well_has_nothing_to_tell():
    assert told() == {}


@pytest.mark.parametrize(
    ("facts", "what", "serious", "says"),
    [
        ({"free": 9 * GB}, "disk", False, "nearly full: 9.0 GB of 500 GB are free"),
        ({"free": 400 * MB}, "disk", True, "The disk is full: 0.4 GB"),
        ({"damaged": 1}, "damage", True, "1 line of the store can no longer be read"),
        ({"backups": Backups(0, 2)}, "backup", True, "There is no backup yet"),
        ({"backups": Backups(NOW - 3 * DAY, 2)}, "backup", True, "The last backup is 3 days old"),
        ({"backups": Backups(NOW, 2, failed="no such folder.")}, "backup_failed", True, "failed: no such folder."),
        ({"backups": Backups(NOW, 2, beside=True)}, "backup_place", False, "on the same disk as the data"),
        ({"newest": NOW + 2 * DAY}, "clock", True, "2 days behind the last entry"),
        ({"stepped": -7200.0}, "clock", False, "was put back by 2 hours"),
        ({"stepped": 120.0}, "clock", False, "was put forward by 2 minutes"),
        ({"skewed": {"Tablet K": 3 * 3600.0}}, "tablet_clock", False, "The clock of Tablet K is 3 hours ahead"),
        ({"skewed": {"Tablet K": -3 * 3600.0}}, "tablet_clock", False, "The clock of Tablet K is 3 hours behind"),
        ({"refused": 1}, "refused", False, "1 entry was refused and waits for you"),
        ({"refused": 1200}, "refused", False, "1,200 entries were refused and wait for you"),
        ({"certificate_ends": NOW + 5 * DAY}, "certificate", False, "ends in 5 days"),
        ({"certificate_ends": NOW - 1}, "certificate", True, "has ended"),
    ],
)
def test_each_concern_is_told_in_one_line_with_what_to_do(facts, what, serious, says):
    found = told(**facts)
    assert list(found) == [what]
    assert found[what].serious is serious
    assert says in found[what].told
    assert found[what].do.endswith(".")


@pytest.mark.parametrize(
    "facts",
    [
        {"free": 11 * GB},
        {"free": 3 * GB, "whole": 20 * GB},
        {"backups": Backups(NOW - 2 * DAY, 2)},
        {"backups": Backups(0, 2), "newest": 0},
        {"backups": None},
        {"newest": NOW + 30_000},
        {"stepped": 59.0},
        {"skewed": {"Tablet K": 240.0, "Tablet M": -240.0}},
        {"certificate_ends": NOW + 22 * DAY},
    ],
)
def test_nobody_is_bothered_below_the_limits(facts):
    assert told(**facts) == {}


def test_the_serious_ones_come_first():
    found = concerns(Facts(now=NOW, free=9 * GB, whole=500 * GB, refused=3, damaged=2, newest=NOW))
    assert [concern.serious for concern in found] == [True, False, False]


class Time:
    wall, steady = NOW, 1000.0

    def passes(self, seconds, put=0.0):
        self.wall += int((seconds + put) * 1000)
        self.steady += seconds


def test_a_clock_put_on_or_back_is_noticed_and_forgotten_after_a_day():
    time = Time()
    watch = ClockWatch(lambda: time.wall, lambda: time.steady)
    for _ in range(600):
        time.passes(60, put=0.5)  # kept by the network, in small corrections
        assert watch.stepped() == 0.0
    time.passes(60, put=-3600)
    assert watch.stepped() == pytest.approx(-3600)
    time.passes(23 * 3600)
    assert watch.stepped() == pytest.approx(-3600)
    time.passes(3700)
    assert watch.stepped() == 0.0


def test_a_device_ahead_one_behind_and_one_that_was_only_away_are_told_apart():
    hour = 3_600_000
    made = {"ahead": (hour, hour), "behind": (-2 * hour, -1), "away": (-30 * hour, -30 * hour), "right": (-5, -5)}
    entries = [
        {"id": name, "device": name, "at": time_text(NOW + at), "clock": [NOW + clock, 0]}
        for name, (at, clock) in made.items()
    ]
    found = skews(entries, dict.fromkeys(made, NOW))
    assert found["ahead"] == pytest.approx(3600)
    assert found["behind"] == pytest.approx(-7200, abs=1)
    assert (found["away"], found["right"]) == (0, 0)


def test_only_entries_that_came_within_a_day_are_looked_at(tmp_path):
    at = [NOW]
    store = TinyStore(tmp_path, now=lambda: at[0])
    maker = Maker()
    store.add(maker.readings(3))
    at[0] = NOW + 2 * DAY
    late = maker.readings(2)
    store.add(late)
    entries, came = recent(store, at[0])
    assert [entry["id"] for entry in entries] == [entry["id"] for entry in late]
    assert {came[entry["id"]] for entry in entries} == {at[0]}
    store.close()
