"""The README is run: its commands exist, its Python does what it says, its links lead somewhere."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from chairapp.cli import main

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "README.md").read_text("utf-8")
BLOCKS = re.findall(r"(?:^ {4}.+\n)+", TEXT, re.MULTILINE)


def test_every_make_target_named_in_the_readme_exists():
    targets = re.findall(r"^(\w[\w-]*):", (ROOT / "Makefile").read_text("utf-8"), re.MULTILINE)
    assert set(re.findall(r"`?make (\w+)", TEXT)) <= set(targets)


@pytest.mark.parametrize("command", sorted(set(re.findall(r"^ {4}threemark (\w+)", TEXT, re.MULTILINE))))
def test_every_command_of_the_readme_is_there(command, capsys):
    with pytest.raises(SystemExit) as left:
        main([command, "--help"])
    assert left.value.code == 0
    assert f"threemark {command}" in capsys.readouterr().out


def test_the_python_of_the_readme_judges_the_case_it_names():
    code = next(block for block in BLOCKS if "import json" in block)
    program = "\n".join(line.removeprefix("    ") for line in code.splitlines())
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.startswith("off ")
    assert "Upper rim" in done.stdout


@pytest.mark.parametrize("target", re.findall(r"\]\(([^)]+)\)", TEXT))
def test_every_link_of_the_readme_leads_to_a_file(target):
    assert (ROOT / target).exists()
