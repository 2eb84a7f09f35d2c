"""Step 6: the plane against the interpupillary line and both ala-tragus lines.

Front: specialists notice 2 deg, others 4 (Alhuwaish & Almoammar 2022); over 4 is seen by 90 % (Padwa et al. 1997).
"""

import math

from chairapp.judge.findings import finding, item_level, reading_findings
from chairapp.judge.numbers import at_most, fix6, mean
from chairapp.judge.rows import is_by_eye
from chairapp.judge.shapes import Doc, Rows

ITEMS = ["plane.front", "plane.right", "plane.left"]

# Which end is lower when the angle is positive, and when it is negative.
_LOWER = {"plane.front": ("right", "left"), "plane.right": ("back", "front"), "plane.left": ("back", "front")}


def plane(visit: Doc) -> Rows:
    """The three angles, each against its band; by eye fits with a note."""
    found: Rows = []
    for item in ITEMS:
        found = found + _angle_findings(visit, visit["items"][item], visit["rows"][item])
    return found


def plane_values(visit: Doc) -> Doc:
    """{"plane_front", "plane_right", "plane_left": {"value": deg, "mm_over_rim": mm, signed like the angle}}."""
    values = {}
    for item in ITEMS:
        angle = angle_of(visit["rows"][item])
        mm = None if angle is None else mm_over_rim(visit, item, angle)
        values[item.replace(".", "_")] = {"value": angle, "mm_over_rim": mm}
    return values


def angle_of(row: Doc) -> float | None:
    """The mean angle of the present round; null when not measured or judged by eye."""
    value: float | None = None if not row["fresh"] or is_by_eye(row) else row["value"]
    return value


def mm_over_rim(visit: Doc, item: str, angle: float) -> float:
    """What the tilt makes in mm over the rim: from canine to canine in front, from canine to molar at the side."""
    span = visit["settings"]["plane.span_front" if item == "plane.front" else "plane.span_side"]
    return fix6(span * math.tan(math.radians(angle)))


def _angle_findings(visit: Doc, item: Doc, row: Doc) -> Rows:
    if row["fresh"] and is_by_eye(row):
        return [finding("by_eye", item["id"], "note")]
    angle = angle_of(row)
    if angle is None:
        return []
    found = reading_findings(item, row) + _photo_findings(item, row)
    level = item_level(item, angle)
    if level == "fits":
        return found
    params = {"lower": _LOWER[item["id"]][0 if angle > 0 else 1], "mm_over_rim": mm_over_rim(visit, item["id"], angle)}
    code = "tilt_" + item["id"].split(".")[1]
    return [*found, finding(code, item["id"], level, angle, unit=item["unit"], band=item["band"], params=params)]


def _photo_findings(item: Doc, row: Doc) -> Rows:
    """A note when photograph and pad differ by more than readings of one kind may."""
    photo = [reading["value"] for reading in row["readings"] if reading["photo"]]
    pad = [reading["value"] for reading in row["readings"] if not reading["photo"]]
    if not photo or not pad or item["spread"] is None:
        return []
    apart = mean(photo) - mean(pad)
    if at_most(abs(apart), item["spread"]):
        return []
    params = {"photo": mean(photo), "pad": mean(pad)}
    band = [-item["spread"], item["spread"]]
    return [finding("photo_differs", item["id"], "note", apart, unit=item["unit"], band=band, params=params)]
