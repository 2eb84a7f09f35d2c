"""One visit as every page, command and export sees it: its entries, judged by the sequence it was opened with."""

from typing import Any

from chairapp.judge.signatures import is_signed as signed_by
from chairapp.sequence.view import view

__all__ = ["is_signed", "movements", "stage", "visit_state", "wanted"]

Doc = dict[str, Any]


def visit_state(sequence: Doc, entries: list[Doc], language: str = "en", people: dict[str, str] | None = None) -> Doc:
    """{"state", "verdict"} with words; see chairapp.sequence.view. `people` gives names for staff ids.

    `sequence` is the document whose digest the visit's `opened` entry names. Raises
    chairapp.judge.errors.InputError for entries of the wrong shape.
    """
    found: Doc = view(sequence, entries, language, people)
    return found


def is_signed(state: Doc) -> bool:
    """Whether the visit is signed as it must be: by a clinician, or by a supervised one and somebody who supervises.

    Only signatures that hold count. Whoever signed as supervised cannot be their own supervisor.
    """
    enough: bool = signed_by(state["signatures"])
    return enough


def movements(entries: list[Doc]) -> list[Doc]:
    """The movements of the box that stand, oldest first: entries `{"to": PLACE}` that no `{"undoes": id}` takes back.

    `entries` in (clock, id) order, from however many nodes; the last one says where the box is.
    """
    moved = [entry for entry in entries if entry["kind"] == "movement" and isinstance(entry["value"], dict)]
    taken_back = {entry["value"].get("undoes") for entry in moved}
    return [entry for entry in moved if entry["value"].get("to") and entry["id"] not in taken_back]


def wanted(entries: list[Doc]) -> str | None:
    """The day the box is wanted back, 2026-12-31: the latest `{"wanted": day}` since it last came back."""
    back = {entry["id"] for entry in movements(entries) if entry["value"]["to"] == "clinic"}
    day = None
    for entry in entries:
        if entry["id"] in back:
            day = None
        elif entry["kind"] == "movement" and isinstance(entry["value"], dict):
            day = entry["value"].get("wanted", day)
    return day


def stage(entries: list[Doc]) -> str:
    """ "finished" once the latest movement of its box that stands says so (`{"to": "finished"}`), else "open".

    Others do not fetch a finished visit, and nodes may let go of it once it is in the clinic's backup.
    """
    moved = movements(entries)
    return "finished" if moved and moved[-1]["value"]["to"] == "finished" else "open"
