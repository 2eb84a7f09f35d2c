"""The entries a case stands for.

Full form: a list of {"kind", "item", "value", "of"}; whatever else an entry has may be given and is otherwise filled
in, in list order: `seen` holds the adjustments before it, the clock goes on by 20 s. An `id` may be any short name that
a later `of` or `seen` repeats; `of` may also be a place in the list, counted from 0. A signature may give its role
alone, an acceptance its reason alone: see worked.py.

Short form: the answers in the order of the sequence, then the adjustments, then the acceptances.
"""

from typing import Any

from chairapp.case.book import START_MS, Book
from chairapp.case.read import Case
from chairapp.case.worked import fill_acceptances, fill_signatures, is_unfinished
from chairapp.sequence.check import check_entry, find_item
from chairapp.sequence.errors import InputError
from chairapp.sequence.load import digest
from sync.entry import FIELDS, Entry, check_envelope

__all__ = ["entries_of"]

KINDS = (
    "opened",
    "answer",
    "reading",
    "check",
    "withdrawal",
    "adjustment",
    "acceptance",
    "note",
    "attachment",
    "signature",
    "printed",
    "movement",
    "outcome",
)

Doc = dict[str, Any]
Placed = tuple[str, Doc]
"""A row of the case and its place there, such as "entries[3]" or "answers.display.rest"."""


def entries_of(case: Case, document: Doc, start: int = START_MS, device: str = "case") -> list[Entry]:
    """The case as whole entries of one visit, `opened` first; the same case and start give the same ids.

    `start` is the time of the first entry in ms since 1970, `device` the id that made them. Raises InputError naming
    the place in the case.
    """
    rows = _short(case, document) if case.entries is None else _full(case)
    if all(row["kind"] != "opened" for _, row in rows):
        rows.insert(0, ("opened", _opened(case, document)))
    book = Book(case, start, device)
    for place, row in rows:
        book.add(place, row)
    placed = list(zip([place for place, _ in rows], book.entries, strict=True))
    _check(document, [(place, entry) for place, entry in placed if not is_unfinished(entry)])
    _check_targets(placed)
    unfinished = [(place, entry) for place, entry in placed if is_unfinished(entry)]
    fill_acceptances(document, book.entries)
    fill_signatures(document, book.entries)
    _check(document, unfinished)
    return book.entries


def _full(case: Case) -> list[Placed]:
    rows: list[Placed] = []
    for at, row in enumerate(case.entries or []):
        place = f"entries[{at}]"
        if not isinstance(row, dict):
            raise InputError(place, "it is not an object", "give an entry with kind, item and value")
        for name in row:
            if name not in FIELDS:
                raise InputError(f"{place}.{name}", "an entry has no such field", f"use only {', '.join(FIELDS)}")
        if row.get("kind") not in KINDS:
            raise InputError(f"{place}.kind", f"{row.get('kind')!r} is no kind of entry", f"use {', '.join(KINDS)}")
        rows.append((place, row))
    return rows


def _short(case: Case, document: Doc) -> list[Placed]:
    for item in case.answers:
        if find_item(document, item) is None:
            raise InputError(f"answers.{item}", "that is no item of this sequence", "use an id such as display.rest")
    rows: list[Placed] = []
    for step in document["steps"]:
        for item in step["items"]:
            if item["id"] in case.answers:
                rows += _answers(item, case.answers[item["id"]])
    for at, change in enumerate(case.adjustments):
        rows.append((f"adjustments[{at}]", {"kind": "adjustment", "item": "wax", "value": change}))
    for step_id, reason in case.accepted.items():
        rows.append((f"accepted.{step_id}", {"kind": "acceptance", "item": step_id, "value": reason}))
    return rows


def _answers(item: Doc, value: Any) -> list[Placed]:
    """The rows of one item: a list under a reading is its readings, one number one of them."""
    place = f"answers.{item['id']}"
    if value is None:
        raise InputError(place, "null says nothing", "leave the item out or answer it")
    if item["kind"] != "reading" or (item["by_eye"] and value == "looks_parallel"):
        return [(place, {"kind": "answer", "item": item["id"], "value": value})]
    if value == []:
        raise InputError(place, "the list holds no reading", "leave the item out or give its readings")
    if not isinstance(value, list):
        return [(place, {"kind": "reading", "item": item["id"], "value": value})]
    return [(f"{place}[{at}]", {"kind": "reading", "item": item["id"], "value": one}) for at, one in enumerate(value)]


def _opened(case: Case, document: Doc) -> Doc:
    value = {"sequence": document["id"], "digest": digest(document), "box": case.box, "chair": case.chair}
    return {"kind": "opened", "value": value | {"language": case.language}}


def _check(document: Doc, placed: list[Placed]) -> None:
    """Raises InputError for the first entry that says what none can say."""
    for place, entry in placed:
        fault = check_entry(document, entry)
        if fault is not None:
            raise InputError(_joined(place, fault["field"]), fault["why"], fault["do"])
        refusal = check_envelope(entry)
        if refusal is not None:
            raise InputError(_joined(place, refusal.field), refusal.why, refusal.do)


def _check_targets(placed: list[Placed]) -> None:
    known = {entry["id"] for _, entry in placed}
    for place, entry in placed:
        if entry["of"] is not None and entry["of"] not in known:
            raise InputError(f"{place}.of", "no entry of this case has that id", "name an entry that stands before it")


def _joined(place: str, field: str) -> str:
    """The place in the case file; in the short form there is no "value", the value stands under the item itself."""
    if place.startswith("entries["):
        return place if field == "entry" else f"{place}.{field}"
    parts = [part for part in field.split(".") if part not in ("value", "item", "reason", "entry")]
    return ".".join([place, *parts])
