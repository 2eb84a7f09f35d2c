"""The sequence that comes with the program: read from its TOML files, checked, and named by its digest."""

import hashlib
import math
import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

import rfc8785

from chairapp.sequence.models import Sequence


@cache
def jaw_relation() -> Sequence:
    """The jaw relation sequence with every language there is."""
    here = files("chairapp.sequence")
    raw = tomllib.loads((here / "jaw_relation.toml").read_text("utf-8"))
    raw["texts"] = {path.name[:-5]: _texts(path) for path in _catalogues(here / "texts")}
    return Sequence.model_validate(open_sides(raw))


def document(sequence: Sequence) -> dict[str, Any]:
    """The sequence as plain JSON: what is stored, sent, judged by and addressed by its digest."""
    return sequence.model_dump(mode="json")


def digest(doc: dict[str, Any]) -> str:
    """SHA-256 over the document's RFC 8785 bytes, in hex."""
    return hashlib.sha256(rfc8785.dumps(doc)).hexdigest()


def open_sides(raw: Any) -> Any:
    """TOML has no null: `inf` and `-inf` in a band become None, the open side."""
    if isinstance(raw, dict):
        return {key: open_sides(value) for key, value in raw.items()}
    if isinstance(raw, list):
        return [open_sides(value) for value in raw]
    return None if isinstance(raw, float) and math.isinf(raw) else raw


def flat(tree: dict[str, Any], prefix: str = "") -> dict[str, Any]:
    """A nested table as one of dotted keys: {"a": {"b": 1}} is {"a.b": 1}."""
    found: dict[str, Any] = {}
    for key, value in tree.items():
        if isinstance(value, dict):
            found.update(flat(value, f"{prefix}{key}."))
        else:
            found[prefix + key] = value
    return found


def _catalogues(folder: Any) -> list[Any]:
    return sorted((path for path in folder.iterdir() if path.name.endswith(".toml")), key=lambda path: str(path.name))


def _texts(path: Any) -> dict[str, str]:
    return tomllib.loads(path.read_text("utf-8"))
