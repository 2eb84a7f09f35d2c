"""`threemark export`: three formats, clear lines on bad input, nothing half-written."""

import json
import stat

import pytest

from chairapp.cli import main
from chairapp.export import verify_record
from tests.export.fhir_check import faults


def export(data, kind, out, *more):
    return main(["export", "--data", str(data), "--format", kind, "--out", str(out), *more])


def test_each_format_is_written_and_what_is_in_it_is_said(data, tmp_path, capsys):
    assert export(data, "csv", tmp_path / "tables") == 0
    assert export(data, "csv", tmp_path / "tables.zip") == 0
    assert export(data, "fhir", tmp_path / "bundle.json") == 0
    assert export(data, "json", tmp_path / "record.json") == 0
    assert capsys.readouterr().out.count("8 visits, all visits. Chain head ") == 4
    assert (tmp_path / "tables" / "dictionary.csv").exists()
    assert faults(json.loads((tmp_path / "bundle.json").read_text())) == []
    assert "chain whole" in verify_record.check(json.loads((tmp_path / "record.json").read_text()))


def test_what_is_written_is_for_its_owner_only(data, tmp_path):
    for kind, out in (("csv", tmp_path / "t.zip"), ("fhir", tmp_path / "b.json"), ("csv", tmp_path / "t")):
        export(data, kind, out)
        assert stat.S_IMODE(out.stat().st_mode) & 0o077 == 0


def test_one_box_gives_one_record_and_the_second_time_says_that_it_was_exported(data, tmp_path):
    for name in ("first", "second"):
        assert export(data, "json", tmp_path / name, "--code", "kp5g-q3n6") == 0
    record = json.loads((tmp_path / "second").read_text())
    assert {row["entry"]["visit"] for row in record["entries"]} == {record["entries"][0]["entry"]["visit"]}
    assert [line["what"] for line in record["access"]] == ["export json, KP5GQ3N6"]
    assert {line["visit"] for line in record["access"]} == {record["entries"][0]["entry"]["visit"]}


def test_a_period_of_days_is_kept_to(data, tmp_path, capsys):
    assert export(data, "csv", tmp_path / "t.zip", "--since", "2026-11-26", "--until", "2026-11-27") == 0
    assert "2 visits, from 2026-11-26 to 2026-11-27" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--since", "yesterday"], "since: 'yesterday' is no day"),
        (["--since", "20261126"], "since: '20261126' is no day"),
        (["--until", "2026-02-30"], "until: '2026-02-30' is no day"),
        (["--since", "2026-11-27", "--until", "2026-11-26"], "until: 2026-11-26 is before 2026-11-27"),
        (["--code", "7KQ4-M2X8"], "7KQ4-M2X8"),
        (["--code", "KF6H-T34K", "--since", "2030-01-01"], "no visit has the box KF6HT34K"),
        (["--visit", "01a21219-a400-7e0a-8467-000000000000"], "no visit has the id"),
    ],
)
def test_bad_input_is_one_line_and_exit_code_2_with_nothing_written(data, tmp_path, capsys, more, said):
    assert export(data, "fhir", tmp_path / "b.json", *more) == 2
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_cannot_be_is_named_before_anything_is_read(data, tmp_path, capsys):
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "other.txt").write_text("mine")
    for kind, out in (
        ("csv", tmp_path / "full"),
        ("fhir", tmp_path / "full"),
        ("json", tmp_path / "nowhere" / "record.json"),
        ("csv", tmp_path / "full" / "other.txt"),
    ):
        assert export(data, kind, out) == 2
        assert f"--out {out}" in capsys.readouterr().err
    assert (tmp_path / "full" / "other.txt").read_text() == "mine"


def test_the_file_that_was_there_stays_until_the_new_one_is_whole(data, tmp_path):
    out = tmp_path / "record.json"
    out.write_text("the last export")
    assert export(data, "json", out, "--visit", "01a21219-a400-7e0a-8467-000000000000") == 2
    assert out.read_text() == "the last export"
    assert export(data, "json", out) == 0
    assert list(tmp_path.iterdir()) == [out]


def test_a_database_alone_is_exported_too(data, tmp_path, capsys):
    url = f"sqlite:///{data / 'clinic.sqlite'}"
    out = tmp_path / "record.json"
    assert main(["export", "--store", url, "--format", "json", "--out", str(out)]) == 0
    assert "8 visits" in capsys.readouterr().out
    assert "chain whole" in verify_record.check(json.loads(out.read_text()))


def test_every_export_is_noted_at_the_node(data, tmp_path):
    export(data, "fhir", tmp_path / "b.json", "--until", "2026-12-31")
    last = json.loads((data / "log" / "access.jsonl").read_text().splitlines()[-1])
    assert last["what"] == "export fhir, to 2026-12-31"
    assert last["role"] == "command"
