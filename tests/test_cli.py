"""The commands: what they print, the exit codes, and one clear line for every wrong input."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from chairapp import judge_case
from chairapp.cli import main

CASES = Path(__file__).parents[1] / "demo_cases"


@pytest.fixture
def run(capsys):
    """Run a command: exit code, what it printed, and the lines on stderr."""

    def run(*argv):
        try:
            code = main([str(part) for part in argv])
        except SystemExit as left:
            code = left.code
        printed = capsys.readouterr()
        return code, printed.out, printed.err.splitlines()

    return run


@pytest.fixture
def case(tmp_path):
    """A case file with these answers (or this text as it stands)."""

    def case(content):
        file = tmp_path / "case.json"
        text = content if isinstance(content, str) else json.dumps({"case": "wrong", "answers": content})
        file.write_text(text)
        return file

    return case


def test_judge_prints_the_verdict_that_judge_case_gives(run):
    file = CASES / "04_tilted_plane.json"
    code, out, err = run("judge", file)
    assert (code, err) == (0, [])
    assert json.loads(out) == json.loads(json.dumps(judge_case(json.loads(file.read_text()))))


@pytest.mark.parametrize("file", sorted(CASES.glob("*.json")), ids=lambda file: file.stem)
def test_judge_reads_every_case_of_the_demo(run, file):
    code, out, err = run("judge", file)
    assert (code, err) == (0, [])
    assert set(json.loads(out)) >= {"steps", "derived", "plan", "ready", "todo"}


def test_judge_reads_standard_input():
    case = json.dumps({"case": "piped", "answers": {"seating.upright": "upright"}})
    done = subprocess.run(
        [sys.executable, "-m", "chairapp.cli", "judge", "-"], input=case, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["steps"]["seating"]["verdict"] == "open"


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ({"display.rest": "2 cm"}, ("display.rest", "2 cm")),
        ({"contact.gap": {"tongue": 1}}, ("contact.gap", "tongue")),
        ({"vertical.rest": 700}, ("vertical.rest", "700")),
        ({"vertical.rest": [70, 70.5, 700]}, ("vertical.rest[2]", "700")),
        ({"overjet.gap": {"front": "two"}}, ("overjet.gap", "two")),
        ({"record.count": "three"}, ("record.count", "three")),
        ({"display.wrist": 2}, ("display.wrist", "no item")),
        ({"display.fv": "sideways"}, ("display.fv", "sideways")),
        ('{"case": "x", "answers": {"display.rest": NaN}}', ("NaN",)),
        ('{"case": "x", "answers": {"display.rest": Infinity}}', ("Infinity",)),
        ('{"case": "x", "answers": {', ("case.json", "line 1", "JSON")),
        ("", ("case.json", "JSON")),
        ("[]", ("case.json", "not an object")),
        ('{"case": "x"}', ("case.json", "nothing")),
        ('{"case": "x", "answers": {}, "patient": "somebody"}', ("patient", "no such field")),
        ('{"case": "x", "sequence": "crown", "answers": {}}', ("sequence", "crown")),
    ],
    ids=lambda value: None if isinstance(value, tuple) else str(value)[:40],
)
def test_a_wrong_case_is_refused_in_one_line_that_names_what_is_wrong(run, case, content, says):
    code, out, err = run("judge", case(content))
    assert (code, out, len(err)) == (2, "", 1)
    assert err[0].startswith("threemark judge: ")
    for part in says:
        assert part in err[0]


def test_a_clinics_own_bands_are_judged_by(run, case, tmp_path):
    file = case({"display.rest": [3], "display.fv": "touches"})
    override = tmp_path / "ours.toml"
    override.write_text('[items."display.rest"]\nband = [1, 4]\n')
    verdict = [
        json.loads(run("judge", file, *more)[1])["steps"]["display"]["verdict"]
        for more in ((), ("--sequence", override))
    ]
    assert verdict == ["off", "fits"]


def test_an_override_that_names_no_item_is_refused_in_one_line(run, case, tmp_path):
    override = tmp_path / "ours.toml"
    override.write_text('[items."display.wrist"]\nband = [1, 4]\n')
    code, out, err = run("judge", case({"display.rest": 1}), "--sequence", override)
    assert (code, out, len(err)) == (2, "", 1)
    assert "display.wrist" in err[0]
    assert "ours.toml" in err[0]


@pytest.mark.parametrize(
    ("argv", "says"),
    [
        ((), "COMMAND"),
        (("fly",), "'fly'"),
        (("judge",), "FILE"),
        (("judge", "/nowhere/case.json"), "/nowhere/case.json"),
        (("judge", "a.json", "--loud"), "--loud"),
        (("label", "7KQ4-M2X9"), "--data"),
        (("label", "7KQ4-M2X9", "--data", "/nowhere", "--out", "x.pdf"), "--data /nowhere: there is no such folder"),
        (("label", "7KQ4-M2X9", "--data", "/nowhere", "--out", "x.gif"), ".pdf, .svg or .png"),
        (("verify",), "--data"),
        (("verify", "--data", "/nowhere"), "--data /nowhere"),
        (("verify", "--store", "sqlite:////nowhere/clinic.sqlite"), "no such database"),
        (("chair", "--data", "/nowhere/new"), "--clinic: missing"),
        (("chair", "--clinic", "http://127.0.0.1:8090"), "--data: missing"),
        (
            ("chair", "--data", "/nowhere/new", "--clinic", "http://127.0.0.1:1", "--host", "0.0.0.0"),
            "nobody signs in yet",
        ),
        (("clinic", "--data", "/nowhere/new", "--port", "seven"), "--port 'seven'"),
        (("clinic", "--data", "/nowhere/new", "--store", "mysql://x"), "--store 'mysql://x'"),
        (("clinic", "--data", "/nowhere/new", "--label-size", "10x10"), "at least 57x32"),
        (("demo", "--port", "99999"), "99999"),
    ],
    ids=lambda value: " ".join(value)[:50] if isinstance(value, tuple) else None,
)
def test_wrong_usage_is_one_line_and_exit_code_2(run, argv, says):
    code, out, err = run(*argv)
    assert (code, out, len(err)) == (2, "", 1)
    assert err[0].startswith("threemark")
    assert says in err[0]


def test_help_lists_the_commands_there_are_and_no_others(run):
    code, out, _ = run("--help")
    assert code == 0
    listed = {line.split()[0] for line in out.splitlines() if line.startswith("    ") and line.split()[0].isalpha()}
    keeping = {"backup", "restore", "import", "erase"}
    assert {"demo", "chair", "clinic", "judge", "label", "prescription", "verify", *keeping} <= listed


def test_a_reader_that_goes_away_is_no_error():
    command = f'"{sys.executable}" -m chairapp.cli judge "{CASES / "01_all_fits.json"}" | head -1'
    done = subprocess.run(["bash", "-o", "pipefail", "-c", command], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "{\n", "")
