"""Which texts a catalogue may hold, and which {placeholders} each may use."""

import re
from typing import Any

from chairapp.judge.codes import CODES
from chairapp.sequence.errors import InputError

OF_EVERY_FINDING = ("label", "value", "size", "shown", "unit", "low", "high", "band", "answer")
OF_EVERY_CHECK = ("name", "given", "unit", "low", "high", "known")
PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
TEXT_MAX = 500

Doc = dict[str, Any]


def check_text(doc: Doc, key: str, value: Any, where: str) -> None:
    """Raises InputError for a key no page asks for, no text, or a {placeholder} that nothing fills."""
    if not is_key(doc, key):
        raise InputError(where, "there is no text of this name", "use a key of the English catalogue")
    if not isinstance(value, str) or not value.strip() or len(value) > TEXT_MAX:
        raise InputError(where, f"it is not a text of at most {TEXT_MAX} characters", "give some words in quotes")
    known = placeholders(doc, key)
    for name in PLACEHOLDER.findall(value):
        if name not in known:
            can = ", ".join(f"{{{name}}}" for name in known) or "none"
            raise InputError(where, f"nothing fills {{{name}}} here", f"use only {can}")
    if re.search(r"[{}]", PLACEHOLDER.sub("", value)):
        raise InputError(where, "a curly bracket has no partner", "close it or leave it out")


def is_key(doc: Doc, key: str) -> bool:
    """Is this in the English catalogue, or something that falls back to it: a choice, a hint, a finding's source?"""
    if key in doc["texts"]["en"]:
        return True
    kind, _, rest = key.partition(".")
    if kind in ("source", "finding", "advice"):
        return rest.split(".")[0] in CODES
    items = {item["id"]: item for step in doc["steps"] for item in step["items"]}
    if kind == "choice":
        name, _, value = rest.rpartition(".")
        return name in items and value in items[name]["choices"]
    return kind == "item" and rest.rpartition(".")[0] in items and rest.endswith(".hint")


def placeholders(doc: Doc, key: str) -> tuple[str, ...]:
    """The names a text of this key may have in curly brackets."""
    kind, _, rest = key.partition(".")
    if kind in ("finding", "advice", "source"):
        return (*OF_EVERY_FINDING, *CODES.get(rest.split(".")[0], ()))
    if kind == "check":
        return OF_EVERY_CHECK
    return tuple(PLACEHOLDER.findall(doc["texts"]["en"].get(key, "")))
