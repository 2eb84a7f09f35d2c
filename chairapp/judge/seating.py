"""Step 1: how the patient sits, and whether each base is stable alone."""

from chairapp.judge.findings import choice_findings, finding
from chairapp.judge.shapes import Doc, Rows


def seating(visit: Doc) -> Rows:
    """The choices; and with the upper edge of the tragus, that natural planes differ 5-6 deg from that line."""
    found: Rows = []
    for item in visit["steps"]["seating"]["items"]:
        if item["kind"] == "choice":
            found = found + choice_findings(item, visit["rows"][item["id"]])
    tragus = visit["rows"]["seating.tragus"]
    if tragus["fresh"] and tragus["value"] == "upper":
        found.append(finding("tragus_upper", "seating.tragus", "note", "upper"))
    return found
