"""Does an acceptance still hold? It names codes and values; what changes them makes it lapse, and it does not revive.

To lapse for good, a change must be seen even when a later one undid it: so the step is looked at again as it stood
right after the acceptance and after every later entry that could touch it, in the order in which entries count.
"""

from chairapp.judge.numbers import at_least, at_most, is_number
from chairapp.judge.shapes import Doc, Rows, Value


def holds(looks: Rows, acceptance: Doc) -> bool:
    """Does it hold in every look? A look is {"verdict" before any acceptance, "findings", "unaware_of": [ids]}."""
    for look in looks:
        if look["verdict"] not in ("off", "unsure") or look["unaware_of"]:
            return False
        if not covers(acceptance["codes"], look["findings"]):
            return False
    return True


def covers(codes: list[list[Value]], findings: Rows) -> bool:
    """Is every finding that is off or unsure named, each by a code and value of its own, and no further out than it?"""
    left = [[code[0], code[1]] for code in codes]
    for found in findings:
        if found["level"] == "note":
            continue
        fitting = [code for code in left if code[0] == found["code"] and _no_further(found, code[1])]
        if not fitting:
            return False
        left.remove(fitting[0])
    return True


def _no_further(found: Doc, accepted: Value) -> bool:
    """Is the finding's value what was accepted, or on the same side of its band and nearer to it?"""
    value, band = found["value"], found["band"]
    if not is_number(value) or not is_number(accepted):
        return bool(value == accepted)
    if band is not None and band[1] is not None and not at_most(value, band[1]):
        return at_most(value, accepted)
    if band is not None and band[0] is not None and not at_least(value, band[0]):
        return at_least(value, accepted)
    return at_most(abs(value), abs(accepted))


def later_looks(acceptance: Doc, step: Doc, sequence: Doc, entries: Rows) -> list[Rows]:
    """The entries as they stood right after the acceptance and after each later entry that could touch its step.

    The present state is not among them: the caller has that already.
    """
    ids = [entry["id"] for entry in entries]
    at = ids.index(acceptance["id"]) + 1
    near = _near(step, sequence)
    later = [i for i in range(at, len(entries)) if _touches(entries[i], near)]
    return [entries[:i] for i in later]


def _near(step: Doc, sequence: Doc) -> Doc:
    """The items whose answers can change what the step finds: its own, its caps, what starts its rounds."""
    near = {item["id"]: True for item in step["items"]}
    for cap in sequence["caps"]:
        if step["id"] in cap["steps"]:
            near[cap["item"]] = True
    for row in sequence["rounds"]:
        near[row["item"]] = True
    return near


def _touches(entry: Doc, near: Doc) -> bool:
    kind = entry["kind"]
    return kind == "adjustment" or (kind in ("answer", "reading", "withdrawal") and _is_near(entry, near))


def _is_near(entry: Doc, near: Doc) -> bool:
    return entry["item"] in near or entry["item"] == "wax" or entry["kind"] == "withdrawal"
