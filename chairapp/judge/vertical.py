"""Step 9: vertical dimension and speech: the interocclusal distance with its uncertainty, and what contradicts it.

The 95 % interval is shown; the verdict uses the 90 % one (two one-sided tests at 5 %). Readings cannot show less
scatter than the step of the pad they were made with: see student.py.
"""

from chairapp.judge.existing import rise_findings
from chairapp.judge.findings import choice_findings, disagreement, finding, level_of
from chairapp.judge.numbers import at_most, fix6, within
from chairapp.judge.shapes import Doc, Rows
from chairapp.judge.student import T90, T95, interval, series

_SIGNS = [
    ("vertical.s_sound", {"touch": "s_touch", "wide": "s_wide"}),
    ("vertical.m_rest", {"strained": "m_strained", "open": "m_open"}),
]
_FURTHER = 8


def vertical(visit: Doc) -> Rows:
    """What keeps the distance from fitting, what each sign says (notes), and the rise over the old height."""
    both = measured(visit)
    signs = _signs(visit)
    found = _distance_findings(visit, both) if both else []
    if both and not found and signs:
        found.append(_contradiction(visit, both, signs))
    found = (
        found
        + _sign_notes(visit, signs)
        + choice_findings(visit["items"]["vertical.face"], visit["rows"]["vertical.face"])
    )
    return found + rise_findings(visit, visit["derived"]["ovd_change"])


def measured(visit: Doc) -> Doc | None:
    """{"rest", "occlusal": {"n", "mean", "v"}, "distance"} from the present round; null while either has no reading."""
    both: Doc = {}
    for name in ("rest", "occlusal"):
        item, row = visit["items"]["vertical." + name], visit["rows"]["vertical." + name]
        if not row["readings"]:
            return None
        both[name] = series([reading["value"] for reading in row["readings"]], item["pad"] or 0)
    both["distance"] = fix6(both["rest"]["mean"] - both["occlusal"]["mean"])
    return both


def interocclusal_distance(visit: Doc) -> Doc:
    """{"value", "low", "high"}: rest minus occlusal with its 95 % interval, mm on the skin; null what is not known."""
    both = measured(visit)
    if both is None:
        return {"value": None, "low": None, "high": None}
    low, high = _bounds(both, T95)
    return {"value": both["distance"], "low": low, "high": high}


def has_enough(visit: Doc, both: Doc) -> bool:
    """Have both series as many readings as they need?"""
    short = [name for name in ("rest", "occlusal") if both[name]["n"] < visit["items"]["vertical." + name]["needed"]]
    return not short


def _bounds(both: Doc, table: list[float], further: int = 0) -> tuple[float | None, float | None]:
    """The interval, as it is or as it would be with further readings of each of the same variance and distance."""
    rest, occlusal = both["rest"], both["occlusal"]
    if rest["v"] is None or occlusal["v"] is None:
        return (None, None)
    a = {"n": rest["n"] + further, "v": rest["v"]}
    b = {"n": occlusal["n"] + further, "v": occlusal["v"]}
    low, high = interval(both["distance"], a, b, table)
    return (fix6(low), fix6(high))


def _distance_findings(visit: Doc, both: Doc) -> Rows:
    """The first that matches of: too few readings, readings that disagree, out of the band, too close to its limit."""
    if not has_enough(visit, both):
        return [_few(visit, both)]
    apart: Rows = []
    for name in ("vertical.rest", "vertical.occlusal"):
        apart = apart + disagreement(visit["items"][name], visit["rows"][name])
    if apart:
        return apart
    band = visit["bands"]["interocclusal_distance"]
    if not within(both["distance"], band):
        return _out(visit, both, band)
    low, high = _bounds(both, T90)
    if low is None or high is None or (within(low, band) and within(high, band)):
        return []
    return [_close(both, band)]


def _few(visit: Doc, both: Doc) -> Doc:
    more = {}
    for name in ("rest", "occlusal"):
        more[name + "_more"] = max(0, visit["items"]["vertical." + name]["needed"] - both[name]["n"])
    count = min(both["rest"]["n"], both["occlusal"]["n"])
    return finding("few", "vertical.rest" if more["rest_more"] else "vertical.occlusal", "unsure", count, params=more)


def _out(visit: Doc, both: Doc, band: list[float | None]) -> Rows:
    """Out of the band; with both rims in and next to nothing left, rest itself cannot have been read."""
    low, high = _bounds(both, T95)
    small = band[0] is not None and not at_most(band[0], both["distance"])
    code = "distance_small" if small else "distance_large"
    params = {"low": low, "high": high}
    found = [finding(code, "vertical.rest", "off", both["distance"], unit="mm", band=band, params=params)]
    limit = visit["settings"]["vertical.too_high"]
    bases = visit["rows"]["vertical.rest_bases"]
    if bases["fresh"] and bases["value"] == "both" and not at_most(limit, both["distance"]):
        found.append(
            finding("rest_unreadable", "vertical.rest", "note", both["distance"], unit="mm", band=[limit, None])
        )
    return found


def _close(both: Doc, band: list[float | None]) -> Doc:
    low, high = _bounds(both, T95)
    low90, high90 = _bounds(both, T90)
    params = {"low": low, "high": high, "low90": low90, "high90": high90, "more": further_readings(both, band)}
    return finding("close", "vertical.rest", "unsure", both["distance"], unit="mm", band=band, params=params)


def further_readings(both: Doc, band: list[float | None]) -> int | None:
    """The fewest further readings of each, 1-8, with which the 90 % interval would lie inside the band at the same
    variance and distance; null when readings will not settle it."""
    for further in range(1, _FURTHER + 1):
        low, high = _bounds(both, T90, further)
        if low is not None and high is not None and within(low, band) and within(high, band):
            return further
    return None


def _signs(visit: Doc) -> list[str]:
    """What speech says against the height, by name."""
    signs = []
    for item, says in _SIGNS:
        row = visit["rows"][item]
        if row["fresh"] and row["value"] in says:
            signs.append(says[row["value"]])
    space = _space_sign(visit)
    if space and _space_level(visit) == "off":
        signs.append(space)
    return signs


def _sign_notes(visit: Doc, signs: list[str]) -> Rows:
    """Each sign as a note of its own, with what it means; a speaking space beside its band but tolerated is one too."""
    names = list(signs)
    space = _space_sign(visit)
    if space and space not in names:
        names.append(space)
    return [_sign_note(visit, name) for name in names]


def _sign_note(visit: Doc, name: str) -> Doc:
    item_id = {"s_touch": "s_sound", "s_wide": "s_sound", "m_strained": "m_rest", "m_open": "m_rest"}.get(
        name, "s_space"
    )
    item = visit["items"]["vertical." + item_id]
    return finding(name, item["id"], "note", visit["rows"][item["id"]]["value"], unit=item["unit"], band=item["band"])


def _space_sign(visit: Doc) -> str | None:
    level = _space_level(visit)
    if level is None or level == "fits":
        return None
    low = visit["items"]["vertical.s_space"]["band"][0]
    small = low is not None and not at_most(low, visit["rows"]["vertical.s_space"]["value"])
    return "s_space_small" if small else "s_space_large"


def _space_level(visit: Doc) -> str | None:
    item, row = visit["items"]["vertical.s_space"], visit["rows"]["vertical.s_space"]
    return level_of(row["value"], item["band"], item["tolerated"]) if row["fresh"] else None


def _contradiction(visit: Doc, both: Doc, signs: list[str]) -> Doc:
    band = visit["bands"]["interocclusal_distance"]
    return finding(
        "contradiction", "vertical.rest", "unsure", both["distance"], unit="mm", band=band, params={"signs": signs}
    )
