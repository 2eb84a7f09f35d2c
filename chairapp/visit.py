"""One visit as every page, command and export sees it: its entries, judged by the sequence it was opened with."""

from typing import Any

from chairapp.sequence.view import view

__all__ = ["visit_state"]

Doc = dict[str, Any]


def visit_state(sequence: Doc, entries: list[Doc], language: str = "en", people: dict[str, str] | None = None) -> Doc:
    """{"state", "verdict"} with words; see chairapp.sequence.view. `people` gives names for staff ids.

    `sequence` is the document whose digest the visit's `opened` entry names. Raises
    chairapp.judge.errors.InputError for entries of the wrong shape.
    """
    found: Doc = view(sequence, entries, language, people)
    return found
