"""`threemark service`: a unit systemd reads, with nothing in it that others may not know."""

import configparser
from pathlib import Path

import pytest

from chairapp.cli import main
from chairapp.running.service import unit

PROGRAM, DATA = Path("/opt/threemark/bin/threemark"), Path("/var/lib/threemark")


def read(text):
    found = configparser.ConfigParser(strict=False, interpolation=None)
    found.optionxform = str
    found.read_string(text)
    return found


def test_the_unit_starts_the_node_with_its_flags_and_shuts_it_in(capsys):
    asked = ["service", "clinic", "--data", str(DATA), "--backup-to", "/mnt/backup", "--port", "8095"]
    assert main(asked) == 0
    service = read(capsys.readouterr().out)["Service"]
    assert service["ExecStart"].endswith(f"threemark clinic --data {DATA} --port 8095 --backup-to /mnt/backup")
    assert service["ReadWritePaths"] == f"{DATA} -/mnt/backup"
    for name in ("NoNewPrivileges", "PrivateTmp", "RestrictSUIDSGID", "ProtectKernelTunables", "LockPersonality"):
        assert service[name] == "yes"
    assert (service["ProtectSystem"], service["CapabilityBoundingSet"]) == ("strict", "")
    assert service["User"] == "threemark"


def test_the_steps_stand_in_the_unit_as_comments():
    lines = unit("chair", PROGRAM, DATA, {"clinic": "https://clinic.local:8090"}).splitlines()
    steps = lines[: lines.index("")]
    assert all(line.startswith("#") for line in steps)
    assert any("systemctl enable --now threemark-chair.service" in line for line in steps)


def test_names_with_blanks_and_signs_of_systemd_are_quoted():
    service = read(unit("clinic", PROGRAM, Path('/srv/a "b" 100%'), {}))["Service"]
    assert service["ExecStart"] == f'{PROGRAM} clinic --data "/srv/a \\"b\\" 100%%"'


def test_what_lies_in_a_home_can_be_read_from_the_service():
    assert read(unit("clinic", Path("/home/x/bin/threemark"), DATA, {}))["Service"]["ProtectHome"] == "read-only"
    assert read(unit("clinic", PROGRAM, DATA, {}))["Service"]["ProtectHome"] == "yes"


@pytest.mark.parametrize(
    ("argv", "says"),
    [
        (["clinic", "--data", "data"], "--data data: write the whole path"),
        (["clinic", "--data", "/d", "--port", "x"], "--port 'x': a port is a number"),
        (["clinic", "--data", "/d", "--clinic", "http://127.0.0.1:1"], "--clinic: no setting of a clinic node"),
        (["chair", "--data", "/d"], "--clinic: missing"),
        (["clinic", "--data", "/d", "--store", "postgresql+psycopg://u:secret@h/n"], "put the password into ~/.pgpass"),
    ],
)
def test_what_the_node_would_refuse_and_what_others_must_not_read_is_refused(argv, says, capsys):
    assert main(["service", *argv]) == 2
    told = capsys.readouterr().err
    assert says in told
    assert "secret" not in told
    assert told.count("\n") == 1
