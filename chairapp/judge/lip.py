"""Step 4: lip support. The choice decides, the angle never does: published means differ (about 98 and 114 deg)."""

from chairapp.judge.findings import choice_findings, finding, reading_findings
from chairapp.judge.numbers import at_most
from chairapp.judge.shapes import Doc, Rows

_DIRECTIONS = {"collapsed": 1, "supported": 0, "strained": -1}


def lip(visit: Doc) -> Rows:
    """Lip support, and a note on an open or closed nasolabial angle."""
    support, angle = visit["items"]["lip.support"], visit["items"]["lip.nasolabial"]
    found = choice_findings(support, visit["rows"]["lip.support"])
    row = visit["rows"]["lip.nasolabial"]
    found = found + reading_findings(angle, row)
    return found + (_angle_findings(angle, row["value"]) if row["fresh"] else [])


def _angle_findings(item: Doc, value: float) -> Rows:
    low, high = item["band"]
    if high is not None and not at_most(value, high):
        code = "angle_open"
    elif low is not None and not at_most(low, value):
        code = "angle_closed"
    else:
        return []
    return [finding(code, item["id"], "note", value, unit=item["unit"], band=item["band"])]


def labial_direction(visit: Doc) -> int:
    """+1 add to the labial face, -1 take from it, 0 leave it: from lip support as it stands."""
    row = visit["rows"]["lip.support"]
    return _DIRECTIONS.get(row["value"], 0) if row["fresh"] else 0


def by_height(findings: Rows, vertical_fits: bool) -> Rows:
    """The lip's findings, once it is known how the vertical dimension stands.

    A closed angle while the jaws are closed too far is a sign of too little height, not of too much wax: that is what
    is said until `vertical` fits (or is accepted).
    """
    if vertical_fits:
        return findings
    said = []
    for one in findings:
        said.append(dict(one, code="angle_closed_height") if one["code"] == "angle_closed" else one)
    return said
