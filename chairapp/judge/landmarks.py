"""Where the wax plan goes against the landmarks of the lower rim. It is said, not hidden."""

from chairapp.judge.findings import finding
from chairapp.judge.numbers import at_least, at_most, fix6, mean
from chairapp.judge.rim import CANINES
from chairapp.judge.shapes import Doc, Marks, Rows

# (item, stations whose mean change counts, side)
_LANDMARKS = [
    ("lower.commissure", CANINES, "front"),
    ("lower.pad_right", ["molar_right"], "right"),
    ("lower.pad_left", ["molar_left"], "left"),
]
_HIGH = ["above", "upper_third"]
_LOW = ["below", "lower_third"]
_LEVEL = ["level", "half"]


def conflicts(visit: Doc, lower: Marks) -> Rows:
    """A finding for every landmark that the plan moves the wrong way, or far from where it is right."""
    found = []
    for item, stations, side in _LANDMARKS:
        row = visit["rows"][item]
        change = fix6(mean([lower[station] for station in stations]))
        if row["fresh"] and _is_against(visit["settings"], row["value"], change):
            params = {"stands": row["value"], "side": side}
            found.append(finding("plan_conflict", item, "note", change, unit="mm", params=params))
    return found


def _is_against(settings: Doc, stands: str, change: float) -> bool:
    wrong, far = settings["plan.conflict"], settings["plan.conflict_level"]
    if stands in _HIGH:
        return at_least(change, wrong)
    if stands in _LOW:
        return at_most(change, -wrong)
    return stands in _LEVEL and not at_most(abs(change), far)
