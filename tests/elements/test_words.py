"""Words of the page: all in the catalogue, none missing, none left over."""

import json
import re
import tomllib
from pathlib import Path

import pytest

from chairapp.elements import chair

FOLDER = Path(chair.__file__).parent
ROOT = FOLDER.parents[1]
OUTSIDE = ("sync/browser", "chairapp/tablet")
SCRIPTS = {path.name: path.read_text("utf-8") for path in FOLDER.glob("tm_*.js")}
OTHERS = "".join(path.read_text("utf-8") for folder in OUTSIDE for path in (ROOT / folder).glob("*.js"))
"""Modules that know no catalogue: what they say is put into words by the page."""
ENGLISH = tomllib.loads((FOLDER / "words" / "en.toml").read_text("utf-8"))
FAMILIES = {key.split(".")[0] for key in ENGLISH}


def used_keys() -> set[str]:
    """Keys written out in the scripts, and for a key with a computed part all that it can become."""
    found = {key for key in ENGLISH if key.startswith("fault.") and ENGLISH[key] in OTHERS}
    for source in SCRIPTS.values():
        found |= {key for key in re.findall(r'"([a-z]+\.[a-z_]+)"', source) if key in ENGLISH}
        for start, end in re.findall(r"\bt\(`([a-z]+\.[a-z_]*)\$\{[^`]*?\}([a-z_]*)`", source):
            found |= {key for key in ENGLISH if key.startswith(start) and key.endswith(end)}
    return found


def test_every_word_a_script_asks_for_stands_in_the_catalogue():
    named = {(name, key) for name, source in SCRIPTS.items() for key in re.findall(r'"([a-z]+\.[a-z_]+)"', source)}
    assert not [(name, key) for name, key in named if key.split(".")[0] in FAMILIES and key not in ENGLISH]


def test_no_word_stands_in_the_catalogue_unused():
    assert sorted(set(ENGLISH) - used_keys()) == []


def test_a_word_with_a_computed_part_has_at_least_one_wording():
    computed = [start for source in SCRIPTS.values() for start in re.findall(r"\bt\(`([a-z]+\.[a-z_]*)\$\{", source)]
    assert computed
    assert not [start for start in computed if not any(key.startswith(start) for key in ENGLISH)]


@pytest.mark.parametrize("name", sorted(SCRIPTS))
def test_no_sentence_stands_in_a_script(name):
    code = re.sub(r"/\*.*?\*/|//[^\n]*", "", SCRIPTS[name], flags=re.S)
    assert not re.findall(r'"[A-Z][a-z]+(?: [a-z]+)+[^"]*"', code)
    assert not re.findall(r'(?:label|title|placeholder)"?: "[A-Za-z]', code.replace('"aria-hidden": "true"', ""))


def test_the_page_is_given_its_words_by_language():
    assert json.loads(chair.words())["en"]["app.name"] == "Threemark"
