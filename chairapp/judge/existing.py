"""Step 2: the dentures the patient already has, the baseline for the new height. Guidance only."""

from chairapp.judge.findings import choice_findings, finding
from chairapp.judge.numbers import at_most, fix6
from chairapp.judge.shapes import Doc, Rows


def existing(visit: Doc) -> Rows:
    """What the old dentures do to the lip."""
    support = visit["items"].get("existing.support")
    return choice_findings(support, visit["rows"]["existing.support"]) if support else []


def differences(visit: Doc) -> Doc:
    """How the rims differ from the old dentures, in mm, null where not known: OVD, display, interocclusal distance.

    A denture that is not worn is no baseline: what `unless` leaves out does not count.
    """
    old = {name: number(visit, "existing." + name) for name in ("rest", "occlusal", "display")}
    distance = _minus(old["rest"], old["occlusal"])
    new = _minus(number(visit, "vertical.rest"), number(visit, "vertical.occlusal"))
    return {
        "existing_interocclusal_distance": distance,
        "ovd_change": _minus(number(visit, "vertical.occlusal"), old["occlusal"]),
        "display_change": _minus(number(visit, "display.rest"), old["display"]),
        "distance_change": _minus(new, distance),
    }


def rise_findings(visit: Doc, change: float | None) -> Rows:
    """A caution (note) when the OVD rises more than the setting over the old dentures.

    A rise of 4 mm took the closest speaking space to 0-1 mm: Burnett & Clifford, J Dent 1992;20:221-224.
    """
    limit = visit["settings"]["existing.ovd_rise"]
    if change is None or at_most(change, limit):
        return []
    params = {"limit": limit}
    return [finding("ovd_raised", "vertical.occlusal", "note", change, unit="mm", band=[None, limit], params=params)]


def number(visit: Doc, item: str) -> float | None:
    """The mean or number of an item in the present round; null when there is none or the item is not asked."""
    if item not in visit["items"] or not is_asked(visit, visit["items"][item]):
        return None
    row = visit["rows"][item]
    value: float | None = None if not row["fresh"] or isinstance(row["value"], str) else row["value"]
    return value


def is_asked(visit: Doc, item: Doc) -> bool:
    """Not asked while another item has one of the values that leave it out."""
    unless = item["unless"]
    # asked first: a walk over nothing costs as much as one over something in the browser
    if not unless:
        return True
    for other in unless:
        row = visit["rows"].get(other)
        if row is not None and row["fresh"] and row["value"] in unless[other]:
            return False
    return True


def _minus(a: float | None, b: float | None) -> float | None:
    return None if a is None or b is None else fix6(a - b)
