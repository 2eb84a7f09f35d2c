"""What an entry knew: the closure over `seen`."""

from chairapp.judge.shapes import Doc, Rows


def pasts(entries: Rows) -> Doc:
    """{entry id: {id: true}} of everything in the past of each entry, through what it saw and what that saw.

    An id that is not among the entries is in the past, but leads no further until its entry has arrived.
    """
    by_id: Doc = {}
    for entry in entries:
        by_id[entry["id"]] = entry
    found: Doc = {}
    shared: Doc = {}
    for entry in entries:
        seen = entry["seen"]
        key = seen[0] if len(seen) == 1 else "\n".join(seen) if seen else ""
        if key not in shared:
            shared[key] = _closure(by_id, entry["seen"])
        found[entry["id"]] = shared[key]
    return found


def _closure(by_id: Doc, seen: list[str]) -> Doc:
    past: Doc = {}
    todo = list(seen)
    while todo:
        known = todo.pop()
        if known not in past:
            past[known] = True
            if known in by_id:
                todo.extend(by_id[known]["seen"])
    return past
