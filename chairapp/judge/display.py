"""Step 5: display at rest, and whether F and V agree with it."""

from chairapp.judge.findings import choice_findings, finding, item_level, reading_findings
from chairapp.judge.numbers import at_most
from chairapp.judge.shapes import Doc, Rows

_SOUNDS = {"short": "fv_short", "past": "fv_past"}


def display(visit: Doc) -> Rows:
    """Display and F/V together: agreeing they are one finding, contradicting each other they are measured again."""
    rest, fv = visit["items"]["display.rest"], visit["items"]["display.fv"]
    row, sound = visit["rows"]["display.rest"], visit["rows"]["display.fv"]
    found = reading_findings(rest, row)
    if not row["fresh"]:
        return found + _alone(fv, sound)
    stands = where_it_stands(rest, row["value"])
    heard = sound["value"] if sound["fresh"] else None
    return found + _together(rest, row["value"], stands, heard)


def where_it_stands(item: Doc, value: float) -> str:
    """ "short", "long" or "in" the item's band."""
    low, high = item["band"]
    if low is not None and not at_most(low, value):
        return "short"
    return "in" if high is None or at_most(value, high) else "long"


def _together(item: Doc, value: float, stands: str, heard: str | None) -> Rows:
    if stands == "in":
        return [finding(_SOUNDS[heard], "display.fv", "unsure", heard)] if heard in _SOUNDS else []
    if (stands, heard) in (("short", "past"), ("long", "short")):
        level, code, params = "unsure", "display_again", {"fv": heard, "display": stands}
    else:
        level, code, params = item_level(item, value), "display_" + stands, {"fv": heard}
    return [finding(code, "display.rest", level, value, unit=item["unit"], band=item["band"], params=params)]


def _alone(item: Doc, row: Doc) -> Rows:
    """F/V before display is measured: said, the step is open anyway."""
    if not row["fresh"]:
        return []
    heard = row["value"]
    return [finding(_SOUNDS[heard], "display.fv", "unsure", heard)] if heard in _SOUNDS else choice_findings(item, row)
