"""Step 12: alignment marks. Three, widely apart, let the rims go together in one position only (common practice)."""

from chairapp.judge.findings import choice_findings, finding
from chairapp.judge.numbers import at_least, at_most, fix6, within
from chairapp.judge.rigid import is_pinned, possible_turn, rigid_move
from chairapp.judge.rim import STATIONS, area
from chairapp.judge.rows import marked_stations
from chairapp.judge.shapes import Doc, Rows

_FEWEST = 3
_MOVE = ["dx", "dy", "turn_deg", "left_over"]


def marks(visit: Doc) -> Rows:
    """How many marks, how far they miss, whether the rims keep one position, and how well the marks hold it."""
    placed, misfit = visit["rows"]["marks.placed"], visit["rows"]["marks.misfit"]
    found: Rows = []
    if placed["fresh"]:
        found = _placed_findings(visit["settings"], visit["marks"])
    if misfit["fresh"] or misfit["missing"]:
        found = found + _misfit_findings(visit, misfit["value"])
    position = visit["items"]["marks.one_position"]
    return found + choice_findings(position, visit["rows"]["marks.one_position"])


def marks_held(visit: Doc) -> Doc:
    """{"stations": those marked in the present round, "pinned", "spread", "turn": deg}; spread null if not placed."""
    placed = visit["rows"]["marks.placed"]["fresh"]
    stations = marked_stations(visit["rows"]) if placed else []
    turn = possible_turn(stations, visit["settings"]["marks.misfit"])
    return {
        "stations": stations,
        "pinned": is_pinned(stations),
        "spread": fix6(spread(stations)) if placed else None,
        "turn": None if turn is None else fix6(turn),
    }


def spread(stations: list[str]) -> float:
    """How widely the marks stand apart, as a share of the widest useful triangle (0-1).

    Area of the largest triangle of marked stations over the area of front, molar_right, molar_left (mm2/mm2).
    Fewer than three stations give 0.0. Source: common practice.
    """
    areas = [0.0]
    for i, a in enumerate(stations):
        for j in range(i + 1, len(stations)):
            areas = areas + [area(a, stations[j], c) for c in stations[j + 1 :]]
    return max(areas) / area("front", "molar_right", "molar_left")


def marks_fit(visit: Doc) -> Doc:
    """{"dx", "dy", "turn_deg", "possible_turn_deg", "left_over"}: the move that explains the misfits; null unknown."""
    held, misfit = visit["marks"], visit["rows"]["marks.misfit"]
    move = None
    if held["pinned"] and misfit["fresh"]:
        move = rigid_move({station: misfit["value"][station] for station in held["stations"]})
    fit = {name: None if move is None or move[name] is None else fix6(move[name]) for name in _MOVE}
    fit["possible_turn_deg"] = held["turn"]
    return fit


def _placed_findings(settings: Doc, held: Doc) -> Rows:
    """Enough marks, far enough apart, able to hold the rim."""
    if len(held["stations"]) < _FEWEST:
        return [finding("marks_few", "marks.placed", "off", len(held["stations"]), band=[_FEWEST, None])]
    found = []
    if not at_least(held["spread"], settings["marks.spread"]):
        band = [settings["marks.spread"], None]
        found.append(finding("marks_close", "marks.placed", "unsure", held["spread"], band=band))
    if not held["pinned"]:
        return [*found, finding("marks_not_pinned", "marks.placed", "unsure")]
    if held["turn"] is not None and not at_most(held["turn"], settings["marks.turn"]):
        band = [None, settings["marks.turn"]]
        found.append(finding("marks_turn", "marks.placed", "unsure", held["turn"], unit="deg", band=band))
    return found


def _misfit_findings(visit: Doc, misfits: Doc) -> Rows:
    """Marks that miss each other by too much, a misfit without a mark, and what no one move explains."""
    item = visit["items"]["marks.misfit"]
    stations = visit["marks"]["stations"]
    found = []
    out = [s for s in STATIONS if s in stations and s in misfits and not within(misfits[s], item["band"])]
    if out:
        worst = max([misfits[s] for s in out], key=abs)
        found.append(
            finding("marks_misfit", item["id"], "off", worst, unit="mm", band=item["band"], params={"where": out})
        )
    return found + _unmatched(visit, stations, misfits) + _left_over(visit)


def _unmatched(visit: Doc, stations: list[str], misfits: Doc) -> Rows:
    """A misfit read where no mark is: one of the two answers is wrong."""
    extra = [station for station in STATIONS if station in misfits and station not in stations]
    if not extra or not visit["rows"]["marks.placed"]["fresh"]:
        return []
    return [finding("marks_unmatched", "marks.misfit", "unsure", params={"where": extra})]


def _left_over(visit: Doc) -> Rows:
    left_over, limit = visit["derived"]["marks_fit"]["left_over"], visit["settings"]["marks.left_over"]
    if left_over is None or at_most(left_over, limit):
        return []
    return [finding("marks_left_over", "marks.misfit", "unsure", left_over, unit="mm", band=[None, limit])]
