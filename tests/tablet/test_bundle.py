"""What of the judge goes to the browser, and that it can run there."""

import json
import re

import pytest

from chairapp.tablet.bundle import EMPTY, ROOTS, bundle, imported, judge_modules
from chairapp.tablet.errors import BundleError


def test_every_module_of_the_judge_and_of_the_words_goes_to_the_browser_and_no_other():
    names = set(judge_modules())
    assert set(ROOTS) <= names
    assert {"chairapp.judge", "chairapp.judge.settle", "chairapp.sequence.say"} <= names
    assert not names & {"chairapp", "chairapp.sequence", "chairapp.sequence.load", "chairapp.sequence.models"}


def test_the_bundle_gives_brython_math_and_the_packages_empty():
    sources = json.loads(re.search(r"update_VFS\((.*)\);\n$", bundle(), re.S)[1])
    assert sources["math"][0] == ".js"
    assert all(sources[name] == [".py", "", [], True] for name in EMPTY)
    assert sources["chairapp.judge"][3] is True
    assert "chairapp.judge.numbers" in sources["chairapp.sequence.say"][2]


@pytest.mark.parametrize(
    "line",
    [
        "import os",
        "from typing import Any",
        "from dataclasses import dataclass",
        "import chairapp.visit",
        "from chairapp.sequence import load",
        "from . import rim",
    ],
)
def test_an_import_the_browser_does_not_have_is_refused_with_its_file_and_line(line):
    with pytest.raises(BundleError, match=r"chairapp\.judge\.odd, line 3: .* cannot be imported in the browser"):
        imported("chairapp.judge.odd", f"import math\n\n{line}\n")


def test_a_module_that_is_imported_and_does_not_exist_is_refused():
    def read(name):
        if name == "chairapp.judge.nowhere":
            raise BundleError(f"{name}: there is no such module")
        return "from chairapp.judge.nowhere import thing\n", False

    with pytest.raises(BundleError, match=r"chairapp\.judge\.nowhere"):
        judge_modules(read)
