"""A case file to a Case: strict JSON, known fields, texts where texts belong."""

import json
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from chairapp.sequence.errors import InputError

SHORT = ("answers", "adjustments", "accepted")
WORDS = ("case", "about", "box", "chair", "author", "language")
FIELDS = (*WORDS, "sequence", "entries", *SHORT, "expect")
BYTES_MAX = 4_000_000


@dataclass(frozen=True)
class Case:
    """A case as it was written; `entries` is None in the short form."""

    name: str = "case"
    about: str = ""
    box: str | None = None
    chair: str = "1"
    author: str = "case"
    language: str = "en"
    entries: list[Any] | None = None
    answers: dict[str, Any] = field(default_factory=dict)
    adjustments: list[Any] = field(default_factory=list)
    accepted: dict[str, Any] = field(default_factory=dict)
    expect: dict[str, Any] = field(default_factory=dict)


def read_case(path: str) -> Case:
    """The case in this file; `-` reads standard input. Raises InputError, which names the file."""
    file = "standard input" if path == "-" else path
    try:
        return case_of(parsed(_bytes(path)))
    except InputError as error:
        raise error.within(file) from None


def case_of(raw: Any) -> Case:
    """A case from its JSON value. Raises InputError."""
    if not isinstance(raw, dict):
        raise InputError("case", "it is not an object", 'give {"case": ..., "answers": {...}} or entries')
    for name in raw:
        if name not in FIELDS:
            raise InputError(str(name) or "''", "a case has no such field", f"use only {', '.join(FIELDS)}")
        if raw[name] is None:
            raise InputError(name, "null says nothing", "leave the field out or fill it")
    _check_form(raw)
    _check_kinds(raw)
    given = {name: raw[name] for name in raw if name not in ("case", "sequence")}
    return Case(name=raw.get("case", "case"), **given)


def parsed(data: bytes) -> Any:
    """Strict JSON: UTF-8, no name given twice, no NaN or Infinity. Raises InputError."""
    try:
        return json.loads(data.decode("utf-8-sig"), object_pairs_hook=_object, parse_constant=_no_constant)
    except UnicodeDecodeError as error:
        raise InputError("file", f"byte {error.start} is not UTF-8", "save the file as UTF-8") from None
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise InputError(where, f"this is not JSON ({error.msg})", "correct it there") from None
    except RecursionError:
        raise InputError("file", "it is nested too deeply", "give a case file") from None
    except InputError:
        raise
    except ValueError:
        raise InputError("file", "a number has thousands of digits", "give what was measured") from None


def _bytes(path: str) -> bytes:
    try:
        data = sys.stdin.buffer.read(BYTES_MAX + 1) if path == "-" else Path(path).read_bytes()
    except FileNotFoundError:
        raise InputError("file", "there is no such file", "check the path") from None
    except OSError as error:
        raise InputError("file", f"it cannot be read ({error.strerror})", "check the path") from None
    except ValueError:
        raise InputError("file", "this cannot be a path", "check the path") from None
    if len(data) > BYTES_MAX:
        raise InputError("file", "it is larger than 4 MB", "give one visit a file")
    return data


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made: dict[str, Any] = {}
    for name, value in pairs:
        if name in made:
            raise InputError(name, "the name is given twice", "give it once; several readings are a list")
        made[name] = value
    return made


def _no_constant(name: str) -> Any:
    raise InputError("file", f"{name} is not a number that can be measured", "give an ordinary number")


def _check_form(raw: dict[str, Any]) -> None:
    short = [name for name in SHORT if name in raw]
    if "entries" in raw and short:
        raise InputError(short[0], "a case has either entries or answers", "keep one of the two forms")
    if "entries" not in raw and not short:
        raise InputError("case", "there is nothing in it to judge", "give it answers or entries")
    if raw.get("sequence", "jaw-relation") != "jaw-relation":
        raise InputError("sequence", f"there is no sequence {raw['sequence']!r}", 'write "jaw-relation"')


def _check_kinds(raw: dict[str, Any]) -> None:
    for name in WORDS:
        if name in raw and not (isinstance(raw[name], str) and raw[name].strip()):
            raise InputError(name, "it is not a text", "give some words in quotes")
    for name in ("entries", "adjustments"):
        if not isinstance(raw.get(name, []), list):
            raise InputError(name, "it is not a list", "give a list in square brackets")
    for name in ("answers", "accepted", "expect"):
        if not isinstance(raw.get(name, {}), dict):
            raise InputError(name, "it is not an object", "give names and values in curly brackets")
