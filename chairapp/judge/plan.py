"""The wax plan: how much to add (+) or take off (-) at every station of both rims at once.

A value is corrected only if it itself lies outside its band, its step is not accepted, and (distance) both series have
their readings; everything else is held where it is. An accepted contact is held too: its gaps are left as they are.
Composed along the rim so that nothing is counted twice:

    e(front)   = d                                                   d  display error
    e(station) = d - s(x) tan a + max(0, 80 - y) tan b_side          a, b  tilts; s(x) = x clipped to [-17, 17]
    upper(station) = -e(station)
    lower(station) = -upper(station) + gap(station) - k (t - D) y / 88

k = mm at the front of the rim for 1 mm on the skin (geometry, no source), because the chin moves up and forward; y / 88
is the hinge: a correction of the height is a wedge, not a slab.
"""

import math

from chairapp.judge.findings import finding
from chairapp.judge.landmarks import conflicts
from chairapp.judge.lip import labial_direction
from chairapp.judge.numbers import at_most, fix6, to_step, within
from chairapp.judge.plane import ITEMS as TILTS
from chairapp.judge.plane import angle_of
from chairapp.judge.rim import CANINE_X, CANINE_Y, CANINES, HINGE, STATIONS, X, Y, side_of
from chairapp.judge.shapes import Doc, Marks, Rows
from chairapp.judge.vertical import has_enough, measured

_LABIAL = ["front", *CANINES]


def plan_of(visit: Doc, accepted: list[str]) -> Doc:
    """The plan, as chairapp/judge/__init__.py describes it. `accepted` names the accepted steps."""
    plan = _empty(visit, accepted)
    missing = _missing_upper(visit)
    if missing:
        plan["why"].append(_measure("plan_measure_first", missing))
        return _with_runs(visit, plan)
    errors = _errors(visit, accepted)
    plan["upper"] = {station: fix6(-_error_at(errors, station)) for station in STATIONS}
    plan["shown"]["upper"] = _shown(visit, {station: -_error_at(errors, station) for station in STATIONS})
    closing = _closing(visit, accepted)
    if closing["missing"]:
        plan["why"].append(_measure("plan_upper_only", closing["missing"]))
    else:
        _add_lower(visit, plan, closing)
    plan["corrects"] = errors["corrects"] + closing["corrects"]
    return _with_runs(visit, plan)


def _empty(visit: Doc, accepted: list[str]) -> Doc:
    return {
        "upper": {},
        "lower": {},
        "shown": {"upper": {}, "lower": {}},
        "labial": {"upper": _labial(visit, accepted), "lower": {}},
        "runs": [],
        "corrects": [],
        "nothing": False,
        "overjet": None,
        "why": [],
        "notes": [],
        "conflicts": [],
    }


def _labial(visit: Doc, accepted: list[str]) -> Marks:
    """A direction for the labial face of the upper rim, at the front and the canines."""
    direction = 0 if "lip" in accepted else labial_direction(visit)
    return dict.fromkeys(_LABIAL, direction * visit["settings"]["plan.labial"]) if direction else {}


def _missing_upper(visit: Doc) -> list[str]:
    return [item for item in ["display.rest", *TILTS] if not visit["rows"][item]["fresh"]]


def _measure(code: str, items: list[str]) -> Doc:
    return finding(code, items[0], "note", params={"items": items})


# ---- upper: display and tilts


def _errors(visit: Doc, accepted: list[str]) -> Doc:
    """{"d": mm, "front", "right", "left": tangents, "corrects": [names]}: what is to be corrected, 0 where held."""
    settings, rest = visit["settings"], visit["items"]["display.rest"]
    errors: Doc = {"d": 0.0, "corrects": []}
    value = visit["rows"]["display.rest"]["value"]
    if "display" not in accepted and not within(value, rest["band"]):
        errors["d"] = value - settings["plan.display"]
        errors["corrects"].append("display")
    for item in TILTS:
        name = item.split(".")[1]
        errors[name] = 0.0
        angle = angle_of(visit["rows"][item]) or 0
        if "plane" not in accepted and not within(angle, visit["items"][item]["band"]):
            errors[name] = math.tan(math.radians(angle)) - math.tan(math.radians(settings["plan.tilt"]))
            errors["corrects"].append(name)
    return errors


def _error_at(errors: Doc, station: str) -> float:
    """How much too long the upper rim is at a station."""
    clipped = max(-CANINE_X, min(CANINE_X, X[station]))
    side = side_of(station)
    behind = max(0.0, CANINE_Y - Y[station]) * errors[side] if side != "front" else 0.0
    error: float = errors["d"] - clipped * errors["front"] + behind
    return error


# ---- lower: gaps and distance


def _closing(visit: Doc, accepted: list[str]) -> Doc:
    """{"gaps": {station: mm to close}, "height": k (t - D), mm at the front, "corrects", "missing": [items]}."""
    closing: Doc = {"gaps": {}, "height": 0.0, "corrects": [], "missing": []}
    gap = visit["rows"]["contact.gap"]
    if not gap["fresh"]:
        closing["missing"].append("contact.gap")
    elif "contact" in accepted:
        closing["gaps"] = dict.fromkeys(STATIONS, 0.0)
    else:
        closing["gaps"] = {station: gap["value"][station] for station in STATIONS}
        if max([abs(mm) for mm in closing["gaps"].values()]) > 0:
            closing["corrects"].append("gap")
    _add_height(visit, accepted, closing)
    return closing


def _add_height(visit: Doc, accepted: list[str], closing: Doc) -> None:
    both = measured(visit)
    if both is None:
        wanted = ["vertical.rest", "vertical.occlusal"]
        closing["missing"] = closing["missing"] + [item for item in wanted if not visit["rows"][item]["readings"]]
        return
    held = within(both["distance"], visit["bands"]["interocclusal_distance"])
    if held or "vertical" in accepted or not has_enough(visit, both):
        return
    k = skin_to_rim(visit)
    if k is None:
        closing["missing"].append("seating.points")
        return
    closing["height"] = k * (visit["settings"]["plan.distance"] - both["distance"])
    closing["corrects"].append("distance")


def skin_to_rim(visit: Doc) -> float | None:
    """k for the skin points that were chosen; null while they are not."""
    row = visit["rows"]["seating.points"]
    k: float | None = visit["settings"].get("hinge.skin_to_rim." + row["value"]) if row["fresh"] else None
    return k


def _add_lower(visit: Doc, plan: Doc, closing: Doc) -> None:
    changes = {station: _lower_change(closing, station) for station in STATIONS}
    # from the upper part as it leaves, so that both together close the gaps to the last digit
    plan["lower"] = {station: fix6(changes[station] - plan["upper"][station]) for station in STATIONS}
    shown_upper = plan["shown"]["upper"]
    plan["shown"]["lower"] = _shown(visit, {station: changes[station] - shown_upper[station] for station in STATIONS})
    plan["nothing"] = not any([*plan["upper"].values(), *plan["lower"].values(), *plan["labial"]["upper"].values()])
    plan["conflicts"] = conflicts(visit, plan["lower"])
    plan["overjet"] = fix6(-visit["settings"]["plan.overjet"] * closing["height"])
    if plan["overjet"]:
        plan["notes"].append(finding("plan_overjet", "overjet.gap", "note", plan["overjet"], unit="mm"))


def _lower_change(closing: Doc, station: str) -> float:
    """What the lower rim needs at a station beside following the upper one."""
    change: float = closing["gaps"][station] - closing["height"] * Y[station] / HINGE
    return change


# ---- what is shown


def _shown(visit: Doc, exact: Marks) -> Marks:
    step = visit["settings"]["plan.shown_step"]
    return {station: to_step(exact[station], step) for station in STATIONS}


def _with_runs(visit: Doc, plan: Doc) -> Doc:
    """Adds the shown changes grouped as a technician would say them, and what is too much for one round."""
    for rim in ("upper", "lower"):
        plan["runs"] = plan["runs"] + runs(rim, "height", plan["shown"][rim])
        plan["runs"] = plan["runs"] + runs(rim, "labial", plan["labial"][rim])
        plan["notes"] = plan["notes"] + _two_rounds(visit, rim, plan["shown"][rim])
    return plan


def runs(rim: str, surface: str, changes: Marks) -> Rows:
    """Neighbours along the arch with the same change, from the patient's right to the left; 0 is not said."""
    found: Rows = []
    before = None
    everywhere = dict.fromkeys(STATIONS, 0.0)
    everywhere.update(changes)
    for station in STATIONS:
        mm = everywhere[station]
        if mm and mm == before:
            found[-1]["stations"].append(station)
        elif mm:
            found.append({"rim": rim, "surface": surface, "mm": mm, "stations": [station]})
        before = mm
    return found


def _two_rounds(visit: Doc, rim: str, shown: Marks) -> Rows:
    limit = visit["settings"]["plan.two_rounds"]
    where = [station for station in STATIONS if station in shown and not at_most(abs(shown[station]), limit)]
    if not where:
        return []
    most = max([shown[station] for station in where], key=abs)
    params = {"rim": rim, "where": where}
    return [finding("plan_two_rounds", None, "note", most, unit="mm", band=[-limit, limit], params=params)]
