"""What a case may leave to be worked out: the codes an acceptance accepts, and what a signature covers.

An acceptance given as its reason alone accepts the findings of its step as it stands at the end of the case. A
signature given as {"role"} alone covers every clinical entry before it.
"""

from typing import Any

from chairapp.judge import JUDGE, judge
from chairapp.sequence.view import to_sign
from sync.entry import Entry
from sync.seal import digest

Doc = dict[str, Any]


def is_unfinished(entry: Entry) -> bool:
    """Is there something to work out? Only then is the entry looked at after the others."""
    value = entry["value"]
    if entry["kind"] == "acceptance":
        return isinstance(value, str) or (isinstance(value, dict) and "codes" not in value)
    return entry["kind"] == "signature" and isinstance(value, dict) and list(value) == ["role"]


def fill_acceptances(document: Doc, entries: list[Entry]) -> None:
    unfinished = [entry for entry in entries if entry["kind"] == "acceptance" and is_unfinished(entry)]
    if not unfinished:
        return
    steps = judge(document, [entry for entry in entries if not is_unfinished(entry)])["steps"]
    for entry in unfinished:
        given = entry["value"] if isinstance(entry["value"], dict) else {"reason": entry["value"]}
        entry["value"] = given | {"codes": accepted_codes(steps.get(entry["item"], {"findings": []}))}


def accepted_codes(step: Doc) -> list[list[Any]]:
    """[[code, value]] of the findings that an acceptance of this judged step sets aside: all but its notes."""
    return [[finding["code"], finding["value"]] for finding in step["findings"] if finding["level"] != "note"]


def fill_signatures(document: Doc, entries: list[Entry]) -> None:
    for at, entry in enumerate(entries):
        if entry["kind"] == "signature" and is_unfinished(entry):
            entry["value"] = {"role": entry["value"]["role"]} | _signed(document, entries[:at])


def _signed(document: Doc, before: list[Entry]) -> Doc:
    signing = to_sign(document, before)
    steps = judge(document, before)["steps"]
    return {
        "covers": signing["covers"],
        "digest": digest(signing["entries"]),
        "verdicts": {step: steps[step]["verdict"] for step in steps},
        "judge": JUDGE,
    }
