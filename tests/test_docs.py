"""The pages under docs/ are true: their commands, flags, links and settings exist."""

import re
from pathlib import Path

import pytest

from chairapp.cli import main
from chairapp.node.settings import SETTINGS

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
