"""A case to its verdict: what `threemark judge` prints and `chairapp.judge_case` returns."""

from typing import Any

from chairapp.case.entries import entries_of
from chairapp.case.read import Case, case_of, read_case
from chairapp.sequence.errors import InputError, JudgeInputError
from chairapp.sequence.load import document, jaw_relation
from chairapp.sequence.override import load_override
from chairapp.sequence.view import view

Doc = dict[str, Any]


def judge_case(case: Doc, sequence: Doc | None = None) -> Doc:
    """The verdict over a case, words in the case's language added.

    {"steps": {step: {"verdict", "findings": [{"code", "item", "level", "value", "unit", "band", "params", "text",
    "advice", "source"}], ...}}, "derived", "plan", "ready", "todo", "voids"}; see chairapp.judge. `sequence` is a
    sequence document, the program's own when left out. Raises InputError.
    """
    return _judged(case_of(case), sequence or document(jaw_relation()))


def judge_file(path: str, sequence: str | None = None) -> Doc:
    """The same from a case file (`-` is standard input) and, if given, a school's own numbers in a TOML file.

    Raises InputError, which names the file.
    """
    changed = load_override(sequence) if sequence else document(jaw_relation())
    case = read_case(path)
    try:
        return _judged(case, changed)
    except InputError as error:
        raise error.within("standard input" if path == "-" else path) from None


def _judged(case: Case, sequence: Doc) -> Doc:
    entries = entries_of(case, sequence)
    try:
        verdict: Doc = view(sequence, entries, case.language)["verdict"]
    except JudgeInputError as error:
        raise InputError(error.field, error.why, error.do) from None
    return verdict
