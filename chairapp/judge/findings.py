"""Findings and levels: what one value means against its band, what one choice means against its list."""

from chairapp.judge.numbers import at_most, fix6, spread, within
from chairapp.judge.shapes import Doc, Rows, Value

LEVELS = ["off", "unsure", "note"]

# The codes of choices that do not fit; a choice without a code of its own gives "choice".
CHOICE_CODES = {
    "seating.upright": {"reclined": "reclined"},
    "seating.glasses": {"on": "glasses_on"},
    "seating.stable": {"rocks": "base_rocks", "sore": "base_sore"},
    "existing.support": {"collapsed": "existing_collapsed", "strained": "existing_strained"},
    "bench.sealed": {"wax_on_fitting_surface": "not_sealed", "gaps": "seal_gaps"},
    "bench.heel": {"upper_too_far": "heel_upper", "lower_too_far": "heel_lower"},
    "lip.support": {"collapsed": "lip_collapsed", "strained": "lip_strained"},
    "contact.position": {"wanders": "position_wanders"},
    "vertical.face": {"collapsed": "face_collapsed", "strained": "face_strained"},
    "marks.one_position": {"slides": "position_slides", "rocks": "position_rocks"},
    "lines.midline": {"not_marked": "midline_not_marked"},
    "lines.canines": {"not_marked": "canines_not_marked"},
}


def finding(
    code: str,
    item: str | None,
    level: str,
    value: Value = None,
    *,
    unit: str | None = None,
    band: Value = None,
    params: Doc | None = None,
) -> Doc:
    """One finding; the numbers among value and params leave by fix6."""
    return {
        "code": code,
        "item": item,
        "level": level,
        "value": _leaving(value),
        "unit": unit,
        "band": band,
        "params": _params_leaving(params),
    }


def level_of(value: float, band: list[float | None] | None, tolerated: list[float | None] | None) -> str:
    """ "fits" inside the band, "unsure" outside it but inside what is tolerated, else "off". Limits are inside."""
    if within(value, band):
        return "fits"
    return "unsure" if tolerated is not None and within(value, tolerated) else "off"


def item_level(item: Doc, value: float) -> str:
    """The level of a number of this item; of an item that is not required nothing worse than "note"."""
    level = level_of(value, item["band"], item["tolerated"])
    return level if level == "fits" or item["required"] else "note"


def choice_findings(item: Doc, row: Doc) -> Rows:
    """Nothing while the choice fits or does not count; else its finding, a note where the item is not required."""
    if not row["fresh"] or row["value"] in item["fits"]:
        return []
    level = "unsure" if row["value"] in item["unsure"] else "off"
    if not item["required"]:
        level = "note"
    code = CHOICE_CODES.get(item["id"], {}).get(row["value"], "choice")
    return [finding(code, item["id"], level, row["value"], params={"choice": row["value"]} if code == "choice" else {})]


def number_findings(item: Doc, row: Doc, code: str = "outside") -> Rows:
    """Nothing while the number lies in its band; else one finding with the code."""
    if not row["fresh"] or item["band"] is None:
        return []
    level = item_level(item, row["value"])
    if level == "fits":
        return []
    return [finding(code, item["id"], level, row["value"], unit=item["unit"], band=item["band"])]


def reading_findings(item: Doc, row: Doc) -> Rows:
    """What the number of readings and their spread say: too few, or too far apart (`disagree`)."""
    count = len(row["readings"])
    if not count:
        return []
    found = []
    level = "unsure" if item["required"] else "note"
    if count < item["needed"]:
        more = {"needed": item["needed"], "more": item["needed"] - count}
        found.append(finding("few_readings", item["id"], level, count, params=more))
    return found + disagreement(item, row, level)


def disagreement(item: Doc, row: Doc, level: str = "unsure") -> Rows:
    """`disagree` when the latest three readings of the present round lie further apart than the item allows."""
    latest = [reading["value"] for reading in row["readings"][-3:]]
    if not latest or item["spread"] is None or at_most(spread(latest), item["spread"]):
        return []
    params = {"limit": item["spread"], "latest": latest}
    return [
        finding(
            "disagree", item["id"], level, spread(latest), unit=item["unit"], band=[0, item["spread"]], params=params
        )
    ]


def worst_first(findings: Rows) -> Rows:
    """Ordered by level, otherwise as found."""
    return sorted(findings, key=lambda found: LEVELS.index(found["level"]))


def _params_leaving(params: Doc | None) -> Doc:
    return {name: _leaving(params[name]) for name in params} if params else {}


def _leaving(value: Value) -> Value:
    if isinstance(value, (list, tuple)):
        return [_leaving(part) for part in value]
    if value is None or isinstance(value, (str, bool, dict)):
        return value
    return fix6(value)
