"""The pages under docs/ are true: their commands, flags, links and settings exist."""

import re
from pathlib import Path

import pytest

from chairapp.cli import main
from chairapp.node.settings import SETTINGS
from chairapp.running.service import unit

DOCS = Path(__file__).parents[1] / "docs"
PAGES = sorted(DOCS.glob("*.md"))
COMMANDS = sorted(
    {line for page in PAGES for line in re.findall(r"^ {4}threemark (.+)$", page.read_text(), re.MULTILINE)}
)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_of_the_docs_is_there_with_its_flags(command, capsys):
    name, *rest = command.split()
    with pytest.raises(SystemExit) as left:
        main([name, "--help"])
    assert left.value.code == 0
    told = capsys.readouterr().out
    for flag in (part for part in rest if part.startswith("--")):
        assert re.search(rf"{flag}\b", told)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_link_of_the_docs_leads_to_a_file(page):
    for target in re.findall(r"\]\(([^)#]+)\)", page.read_text()):
        assert (DOCS / target).exists()


def test_the_setting_the_docs_name_is_one_with_that_default():
    [keep] = [setting for setting in SETTINGS if setting.name == "keep_days"]
    assert f"`keep_days` ({keep.default};" in (DOCS / "keeping-data.md").read_text()


@pytest.mark.parametrize(
    ("name", "default"),
    re.findall(r"^\| `(\w+)` \| (\w+) \|", (DOCS / "install.md").read_text(), re.MULTILINE),
)
def test_every_setting_of_the_docs_has_the_default_they_say(name, default):
    [setting] = [setting for setting in SETTINGS if setting.name == name]
    assert (setting.default or "none") == default


def test_the_words_of_health_in_the_docs_are_those_it_says():
    told = set(re.findall(r"`(\w+)`", re.search(r"fixed words \(([^)]+)\)", (DOCS / "install.md").read_text())[1]))
    source = (DOCS.parent / "chairapp" / "running" / "concerns.py").read_text()
    assert told == set(re.findall(r'Concern\("(\w+)"', source))


def test_the_unit_the_docs_start_is_the_one_that_is_printed():
    units = set(re.findall(r"threemark-\w+(?= -o| ?$)", (DOCS / "install.md").read_text(), re.MULTILINE))
    assert units == {"threemark-clinic"}
    assert "threemark-clinic.service" in unit("clinic", Path("/usr/bin/threemark"), Path("/var/lib/threemark"), {})
