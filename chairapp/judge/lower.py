"""Step 7: the height of the lower rim, by the corners of the mouth and the retromolar pads.

Too low: the tongue laps over the rim and is bitten. Too high: it tires lifting food.
"""

from chairapp.judge.existing import number
from chairapp.judge.findings import choice_findings, finding
from chairapp.judge.shapes import Doc, Rows

LANDMARKS = ["lower.commissure", "lower.pad_right", "lower.pad_left"]


def lower(visit: Doc) -> Rows:
    """The commissure and both pads."""
    found = _commissure(visit)
    for side in ("right", "left"):
        found = found + _pad(visit, side)
    return found


def _commissure(visit: Doc) -> Rows:
    item, row = visit["items"]["lower.commissure"], visit["rows"]["lower.commissure"]
    mm = number(visit, "lower.commissure_mm")
    found = []
    for one in choice_findings(item, row):
        one["code"] = "commissure_" + row["value"]
        one["params"] = {"mm": mm}
        found.append(one)
    return found + (_mm_findings(row["value"], mm) if row["fresh"] and mm is not None else [])


def _mm_findings(stands: str, mm: float) -> Rows:
    """A note when the millimetres do not go with the word: + is above."""
    goes = {"level": mm == 0, "above": mm > 0, "below": mm < 0}
    if goes.get(stands, True):
        return []
    return [finding("commissure_mm_differs", "lower.commissure_mm", "note", mm, unit="mm", params={"stands": stands})]


def _pad(visit: Doc, side: str) -> Rows:
    item = visit["items"]["lower.pad_" + side]
    found = []
    for one in choice_findings(item, visit["rows"][item["id"]]):
        # a school may call a taught level wrong; those have no words of their own and stay a plain choice
        if one["value"] in ("above", "upper_third", "lower_third", "below"):
            one["code"] = "pad_" + one["value"]
            one["params"] = {"side": side}
        found.append(one)
    return found
