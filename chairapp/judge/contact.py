"""Step 8: do the rims meet evenly, and if not, how do they open."""

from chairapp.judge.findings import choice_findings, finding
from chairapp.judge.numbers import at_least, fix6, mean, total
from chairapp.judge.rim import SIDES, STATIONS, X, Y
from chairapp.judge.shapes import Doc, Marks, Rows

# A gap up to this is the rounding of a plan's sixth decimal, not something a person could read (mm).
TOUCHES = 1e-5
# The rim's width at the molars and its length from molar to front, mm: what a slope makes over the rim.
_ACROSS = 52.0
_ALONG = 36.0


def contact(visit: Doc) -> Rows:
    """The closing position, and the pattern of the gaps; only `even` fits."""
    position = visit["items"]["contact.position"]
    found = choice_findings(position, visit["rows"]["contact.position"])
    gap = visit["items"]["contact.gap"]
    name, where = visit["derived"]["contact_pattern"]["name"], visit["derived"]["contact_pattern"]["where"]
    if name is None or name == "even":
        return found
    level = "unsure" if name == "apart" else "off"
    widest = max(visit["rows"]["contact.gap"]["value"].values())
    place = {"where": where}
    return [
        *found,
        finding("contact_" + name, "contact.gap", level, widest, unit=gap["unit"], band=gap["band"], params=place),
    ]


def contact_pattern(visit: Doc) -> Doc:
    """{"name", "where"} of the measured gaps; name null while they are not known."""
    row = visit["rows"]["contact.gap"]
    if not row["fresh"]:
        return {"name": None, "where": []}
    return pattern(row["value"], visit["settings"]["contact.plane_fit"])


def pattern(gaps: Marks, plane_fit: float = 0.85) -> Doc:
    """How seven gaps open: the first that matches.

    even      all touch
    apart     none touches: something else does; where: nothing
    tilted    a plane explains at least `plane_fit` of them; where: the side it opens to, both where nearly equal
    rocking   they touch at a canine or premolar while front and that side's molar are open; where: that side or both
    local     the rest; where: the open stations
    """
    open_stations = [station for station in STATIONS if gaps[station] > TOUCHES]
    if not open_stations:
        return {"name": "even", "where": []}
    if len(open_stations) == len(STATIONS):
        return {"name": "apart", "where": []}
    fitted = best_plane(gaps)
    if at_least(fitted["r2"], plane_fit):
        return {"name": "tilted", "where": opens(fitted["cx"], fitted["cy"])}
    pivots = [side for side in SIDES if _rocks(open_stations, side)]
    if pivots:
        return {"name": "rocking", "where": pivots}
    return {"name": "local", "where": open_stations}


def best_plane(gaps: Marks) -> Doc:
    """The least-squares plane c0 + cx x + cy y through the gaps of all seven stations, and its R2.

    Left and right mirror each other, so x and y do not mix and each slope stands alone. R2 = 1 - sum (h - p)^2 /
    sum (h - mean)^2; gaps that are all equal are a plane (1).
    """
    middle = mean([gaps[station] for station in STATIONS])
    y_mean = mean([Y[station] for station in STATIONS])
    cx = total([X[s] * gaps[s] for s in STATIONS]) / total([X[s] * X[s] for s in STATIONS])
    dy = {station: Y[station] - y_mean for station in STATIONS}
    cy = total([dy[s] * gaps[s] for s in STATIONS]) / total([dy[s] * dy[s] for s in STATIONS])
    rest = [gaps[s] - (middle + cx * X[s] + cy * dy[s]) for s in STATIONS]
    around = [gaps[s] - middle for s in STATIONS]
    whole = total([d * d for d in around])
    r2 = 1 - total([d * d for d in rest]) / whole if whole > 0 else 1.0
    return {"c0": middle - cy * y_mean, "cx": cx, "cy": cy, "r2": r2}


def opens(cx: float, cy: float) -> list[str]:
    """The side to which a plane opens; both, the wider first, when the smaller is at least half the larger."""
    across = (fix6(abs(_ACROSS * cx)), "left" if cx > 0 else "right")
    along = (fix6(abs(_ALONG * cy)), "front" if cy > 0 else "back")
    larger, smaller = (across, along) if across[0] >= along[0] else (along, across)
    if at_least(smaller[0], larger[0] / 2):
        return [larger[1], smaller[1]]
    return [larger[1]]


def _rocks(open_stations: list[str], side: str) -> bool:
    pivot = "premolar_" + side not in open_stations or "canine_" + side not in open_stations
    return pivot and "front" in open_stations and "molar_" + side in open_stations
