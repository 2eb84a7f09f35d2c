"""Does a signature still stand over the very entries it says?"""

from typing import Any, Literal

from chairapp.sequence.view import to_sign
from sync.seal import digest

__all__ = ["DigestState", "digest_state"]

Doc = dict[str, Any]
DigestState = Literal["holds", "erased", "unknown", "other"]


def digest_state(sequence: Doc | None, entries: list[Doc], signature: Doc) -> DigestState:
    """The digest of a `signature` entry, recomputed over what it covers of the visit's `entries`.

    "erased": a value it covers was erased since, so it can no longer be recomputed. "unknown": the sequence it was
    signed under is not here. "other": what it covers is not what was signed.
    """
    covers = signature["value"]["covers"]
    covered = [entry for entry in entries if entry["id"] <= covers.get(entry["device"], "")]
    erased = {entry["of"] for entry in entries if entry["kind"] == "erasure"}
    if sequence is None:
        return "unknown"
    if any(entry["id"] in erased for entry in covered):
        return "erased"
    return "holds" if digest(to_sign(sequence, covered)["entries"]) == signature["value"]["digest"] else "other"
