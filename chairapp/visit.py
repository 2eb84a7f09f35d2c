"""One visit as every page, command and export sees it: its entries, judged by the sequence it was opened with."""

from typing import Any

from chairapp.sequence.view import view

__all__ = ["stage", "visit_state"]

Doc = dict[str, Any]


def visit_state(sequence: Doc, entries: list[Doc], language: str = "en", people: dict[str, str] | None = None) -> Doc:
    """{"state", "verdict"} with words; see chairapp.sequence.view. `people` gives names for staff ids.

    `sequence` is the document whose digest the visit's `opened` entry names. Raises
    chairapp.judge.errors.InputError for entries of the wrong shape.
    """
    found: Doc = view(sequence, entries, language, people)
    return found


def stage(entries: list[Doc]) -> str:
    """ "finished" once the latest movement of its box says so (`{"to": "finished"}`), else "open".

    Others do not fetch a finished visit, and nodes may let go of it once it is in the clinic's backup.
    """
    moved = [entry["value"] for entry in entries if entry["kind"] == "movement"]
    latest = moved[-1] if moved else None
    return "finished" if isinstance(latest, dict) and latest.get("to") == "finished" else "open"
