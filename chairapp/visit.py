"""One visit as every page, command and export sees it: its entries, judged by the sequence it was opened with."""

from collections.abc import Callable
from typing import Any

from chairapp.sequence import document, jaw_relation
from chairapp.sequence.view import view

__all__ = ["sequence_of", "visit_state"]

Doc = dict[str, Any]


def visit_state(sequence: Doc, entries: list[Doc], language: str = "en", people: dict[str, str] | None = None) -> Doc:
    """{"state", "verdict"} with words; see chairapp.sequence.view. `people` gives names for staff ids.

    Raises chairapp.judge.errors.InputError for entries of the wrong shape.
    """
    found: Doc = view(sequence, entries, language, people)
    return found


def sequence_of(entries: list[Doc], kept: Callable[[str], Doc | None]) -> Doc | None:
    """The sequence document a visit was opened with, by its digest: `kept(digest)` looks it up.

    None when that document is not kept here. Opened on several tablets, the latest counts, as in the judge. A visit
    that does not say is judged by the program's own sequence.
    """
    opened = [entry for entry in entries if entry["kind"] == "opened"]
    if not opened:
        return document(jaw_relation())
    latest = max(opened, key=lambda entry: (entry["clock"], entry["id"]))
    return kept(latest["value"].get("digest", ""))
