"""Step 10: horizontal overjet all round. The worst station decides; too little bites cheeks and lips."""

from chairapp.judge.findings import finding, item_level
from chairapp.judge.numbers import at_most
from chairapp.judge.rim import MOLARS, STATIONS
from chairapp.judge.shapes import Doc, Rows


def overjet(visit: Doc) -> Rows:
    """One finding for all that is short, one for molars with nothing or less (`crossbite`), one for what is wide."""
    item, row = visit["items"]["overjet.gap"], visit["rows"]["overjet.gap"]
    if not row["fresh"]:
        return []
    places: Doc = {"crossbite": [], "overjet_short": [], "overjet_wide": []}
    for station in STATIONS:
        code = _code(item, station, row["value"][station])
        if code:
            places[code].append(station)
    return [_finding(item, row["value"], code, places[code]) for code in places if places[code]]


def _code(item: Doc, station: str, mm: float) -> str | None:
    if item_level(item, mm) == "fits":
        return None
    if station in MOLARS and at_most(mm, 0):
        return "crossbite"
    low = item["band"][0]
    return "overjet_short" if low is not None and not at_most(low, mm) else "overjet_wide"


def _finding(item: Doc, gaps: Doc, code: str, where: list[str]) -> Doc:
    values = [gaps[station] for station in where]
    worst = max(values) if code == "overjet_wide" else min(values)
    return finding(
        code, item["id"], item_level(item, worst), worst, unit=item["unit"], band=item["band"], params={"where": where}
    )
