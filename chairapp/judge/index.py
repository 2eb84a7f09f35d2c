"""A sequence document looked up by name: its items, its steps, what belongs to what."""

from chairapp.judge.document import check_document, check_known
from chairapp.judge.shapes import Doc

# The latest sequence and its index: documents never change, and looking one through costs as much as judging a visit.
_latest: list[tuple[Doc, Doc]] = []
_BY_STEP = ["acceptance", "note"]
_BY_ITEM = ["answer", "reading", "check"]
_OTHERS = ["opened", "withdrawal", "adjustment", "signature", "attachment", "printed", "movement", "outcome", "erasure"]


def index_of(sequence: Doc) -> Doc:
    """{"items": {id: item}, "steps": {id: step}, "step_of": {item id: step id}, "order": steps, "names": items,
    "later": {id of the review and what comes after it: true}} by id.

    Raises InputError for a sequence that lacks one of its parts.
    """
    latest = _latest[0] if _latest else None
    if latest is not None and latest[0] is sequence:
        return latest[1]
    built = _built(sequence)
    # one assignment, so that two threads with two documents never get each other's index
    _latest[:] = [(sequence, built)]
    return built


def _built(sequence: Doc) -> Doc:
    check_document(sequence)
    items: Doc = {}
    steps: Doc = {}
    step_of: Doc = {}
    for step in sequence["steps"]:
        steps[step["id"]] = step
        for item in step["items"]:
            items[item["id"]] = item
            step_of[item["id"]] = step["id"]
    check_known(items)
    order, names = list(steps), list(items)
    later = order[order.index("review") :] if "review" in order else []
    after = dict.fromkeys(later, True)
    return {"items": items, "steps": steps, "step_of": step_of, "order": order, "names": names, "later": after}


def items_named(index: Doc, names: list[str]) -> list[str]:
    """The items meant by names of steps, of items, or of families of items (`lines` for `lines.midline` and others)."""
    found: list[str] = []
    for name in names:
        if name in index["steps"]:
            found.extend([item["id"] for item in index["steps"][name]["items"]])
        elif name in index["items"]:
            found.append(name)
        else:
            found.extend([item for item in index["items"] if item.startswith(name + ".")])
    return found


def is_known(index: Doc, entry: Doc) -> bool:
    """Does this sequence understand the entry's kind and item? What a newer tablet wrote is kept and not judged."""
    kind, item = entry["kind"], entry.get("item")
    if kind in _BY_ITEM:
        return item in index["items"]
    if kind in _BY_STEP:
        return item in index["steps"]
    if kind == "adjustment":
        return item == "wax"
    return kind in _OTHERS
