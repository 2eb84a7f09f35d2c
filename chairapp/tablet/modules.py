"""The shared JavaScript modules of the page, found by name, and what a module imports."""

import re
from pathlib import Path

import sync
from chairapp.tablet.errors import ReleaseError

__all__ = ["FOLDERS", "imports", "module"]

_HERE = Path(__file__).parent
FOLDERS = (Path(sync.__file__).parent / "browser", _HERE, _HERE.parent / "elements")

_IMPORT = re.compile(
    r"""^\s*(?:import|export)\s*(?:[\w$*{}\s,]+?\s*from\s*)?["']([^"']+)["']|\bimport\(\s*["']([^"']+)["']\s*\)""", re.M
)


def module(name: str) -> bytes | None:
    """The text of a module of ours by its stem, or None when there is none of that name."""
    found = [folder / f"{name}.js" for folder in FOLDERS if (folder / f"{name}.js").is_file()]
    if len(found) > 1:
        raise ReleaseError(f"{name}: two modules have this name, {found[0]} and {found[1]}")
    return found[0].read_bytes() if found else None


def imports(source: str) -> list[str]:
    """What a module's text imports, in the order of first mention."""
    return list(dict.fromkeys(first or second for first, second in _IMPORT.findall(source)))
