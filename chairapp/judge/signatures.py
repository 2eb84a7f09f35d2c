"""Which signatures hold. One is void once a clinical entry lies outside what it covers, however early its clock."""

from chairapp.judge.entries import CLINICAL
from chairapp.judge.shapes import Doc, Rows


def signatures_of(facts: Doc, entries: Rows) -> Rows:
    """The signatures in order, each with `valid` and `void_by`: the first entry, by the clock, that it does not cover.

    An adjustment that is covered but not in the signature's past voids it too: it was signed without knowing of it.
    """
    found = []
    for entry in entries:
        if entry["kind"] == "signature":
            void_by = _void_by(facts, entries, entry)
            found.append(_row(entry, void_by))
    return found


def is_signed(signatures: Rows) -> bool:
    """Whether a visit with these signatures is signed as it must be: by a clinician, or by a supervised one and by
    somebody else who supervises. Only signatures that hold count.
    """
    valid = [row for row in signatures if row["valid"]]
    for row in valid:
        if row["role"] == "clinician":
            return True
        if row["role"] == "supervised":
            for other in valid:
                if other["role"] == "supervisor" and other["author"] != row["author"]:
                    return True
    return False


def _row(entry: Doc, void_by: Doc | None) -> Doc:
    row = {"id": entry["id"], "author": entry["author"], "at": entry["at"]}
    for name in ("role", "digest", "verdicts", "judge", "covers", "key"):
        row[name] = entry["value"].get(name)
    row["valid"] = void_by is None
    row["void_by"] = void_by and cause(void_by)
    return row


def _void_by(facts: Doc, entries: Rows, signature: Doc) -> Doc | None:
    covers = signature["value"]["covers"]
    for entry in entries:
        if is_clinical(facts["index"], entry):
            # ids of one device are strictly ordered, so its last covered id bounds them all
            covered = entry["id"] <= covers.get(entry["device"], "")
            if not covered or _unknown_wax(facts, entry, signature):
                return entry
    return None


def _unknown_wax(facts: Doc, entry: Doc, signature: Doc) -> bool:
    if entry["kind"] != "adjustment" or entry["id"] in facts["withdrawn"]:
        return False
    return entry["id"] not in facts["past"][signature["id"]]


def is_clinical(index: Doc, entry: Doc) -> bool:
    """Does a signature have to cover it? The clinical kinds of the steps before the review.

    An item this sequence does not know counts as clinical unless its name puts it in the review or after.
    """
    if entry["kind"] not in CLINICAL:
        return False
    return _family(index, entry.get("item") or "") not in index["later"]


def _family(index: Doc, item: str) -> str:
    step: str = index["step_of"][item] if item in index["step_of"] else item.split(".")[0]
    return step


def cause(entry: Doc) -> Doc:
    """What is said of an entry that voids something."""
    return {name: entry[name] for name in ("id", "kind", "item", "author", "at")}
