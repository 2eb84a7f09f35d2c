"""Who looked at what is kept: one line a look, bounded, and nothing that is typed can write a second line."""

import json
import stat
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context

import pytest

from chairapp.node import access_log
from chairapp.node.access_log import AccessLog, NotNoted

MORNING = datetime(2026, 11, 25, 9, tzinfo=UTC)
VISIT = "01a21219-a400-7e0a-8467-9194c1be0548"
INJECTIONS = [
    'a\n{"at": "2026-11-25T09:00:00.000Z", "who": "mgr-1", "role": "", "what": "nothing", "visit": ""}',
    "a\r\nb",
    "a\x00b",
    "\x1b[2J\x1b[31mred",
    "\u2028\u2029\x85",
    '", "what": "nothing',
    "\u202etxt.exe",
    "${jndi:x}",
    "%0d%0a",
    "\ud800",
    "x" * 5000,
]


class Clock:
    def __init__(self):
        self.now = MORNING

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def noted(tmp_path, clock):
    return AccessLog(tmp_path, 365, clock)


def test_a_look_is_one_line_with_who_when_what_and_which_visit(noted, tmp_path):
    noted.note("mgr-1", "manager", "looked at a visit", VISIT)
    line = {"at": "2026-11-25T09:00:00.000Z", "who": "mgr-1", "role": "manager", "what": "looked at a visit"}
    assert [json.loads(text) for text in (tmp_path / "access.jsonl").read_text().splitlines()] == [
        line | {"visit": VISIT}
    ]
    assert list(noted.lines()) == [line | {"visit": VISIT}]


def test_the_file_is_for_its_owner_only(noted, tmp_path):
    noted.note("mgr-1", "manager", "signed in")
    assert stat.S_IMODE((tmp_path / "access.jsonl").stat().st_mode) == 0o600


@pytest.mark.parametrize("typed", INJECTIONS)
def test_nothing_that_is_typed_makes_a_second_line_or_a_control_character(noted, tmp_path, typed):
    noted.note(typed, typed, typed, typed)
    data = (tmp_path / "access.jsonl").read_bytes()
    assert data.count(b"\n") == 1
    assert data.endswith(b"\n")
    assert all(32 <= byte < 127 for byte in data[:-1])
    assert len(data) < 3000
    (line,) = noted.lines()
    assert line["who"] == typed[:80]


def test_the_latest_look_comes_first_over_all_files(noted, clock):
    for number in range(4):
        noted.note("mgr-1", "manager", f"look {number}")
        clock.now += timedelta(days=20)
    assert [line["what"] for line in noted.lines()] == ["look 3", "look 2", "look 1", "look 0"]


def test_a_new_month_and_a_full_file_begin_a_new_one_and_nothing_is_lost(noted, tmp_path, monkeypatch):
    monkeypatch.setattr(access_log, "FILE_BYTES", 1000)
    for number in range(40):
        noted.note("mgr-1", "manager", f"look {number}")
    assert len(list(tmp_path.glob("access*.jsonl"))) > 3
    assert all(file.stat().st_size < 1200 for file in tmp_path.glob("access*.jsonl"))
    assert [line["what"] for line in noted.lines()] == [f"look {number}" for number in reversed(range(40))]


def test_files_older_than_the_retention_go_and_all_together_stay_bounded(tmp_path, monkeypatch):
    monkeypatch.setattr(access_log, "FILE_BYTES", 500)
    monkeypatch.setattr(access_log, "ALL_BYTES", 3000)
    clock = Clock()
    clock.now = datetime.now(UTC)
    noted = AccessLog(tmp_path, 30, clock)
    for number in range(100):
        noted.note("mgr-1", "manager", f"look {number}")
    assert sum(file.stat().st_size for file in tmp_path.iterdir()) < 4500
    assert next(noted.lines())["what"] == "look 99"
    clock.now += timedelta(days=60)
    noted.note("mgr-1", "manager", "much later")
    assert [line["what"] for line in noted.lines()] == ["much later"]


def test_a_line_cut_by_a_power_failure_is_shown_as_one_that_cannot_be_read(noted, tmp_path):
    noted.note("mgr-1", "manager", "first")
    with (tmp_path / "access.jsonl").open("ab") as file:
        file.write(b'{"at": "2026-11-2\n')
    noted.note("mgr-1", "manager", "last")
    assert [line["what"] for line in noted.lines()] == ["last", "a line that cannot be read", "first"]


def test_when_it_cannot_be_written_pages_go_on_and_an_export_does_not(tmp_path):
    noted = AccessLog(tmp_path / "gone", 365)
    noted.note("mgr-1", "manager", "looked at a visit", VISIT)
    with pytest.raises(NotNoted, match="cannot be written"):
        noted.note("mgr-1", "manager", "export csv", must=True)


def _write(folder, name):
    noted = AccessLog(folder, 365)
    for number in range(200):
        noted.note(name, "manager", f"{number}")


def test_several_processes_write_to_one_log_and_no_line_is_lost(tmp_path, monkeypatch):
    monkeypatch.setattr(access_log, "FILE_BYTES", 4000)  # so that they also take turns in beginning new files
    processes = [get_context("fork").Process(target=_write, args=(tmp_path, f"p{number}")) for number in range(3)]
    for process in processes:
        process.start()
    for process in processes:
        process.join(30)
    found = [(line["who"], line["what"]) for line in AccessLog(tmp_path, 365).lines()]
    assert sorted(found) == sorted((f"p{number}", f"{count}") for number in range(3) for count in range(200))
