"""The pictures of a prescription as SVG: the rim map with overjet, marks and guide lines, and the four quadrants."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from html import escape

from chairapp.judge.numbers import number_text
from chairapp.judge.rim import CANINES, STATIONS, TANGENT, X, Y

__all__ = ["RimMap", "quadrants", "rim_map"]

_BREADTH = 8.0
"""mm of rim drawn behind its labial face; an average, as the arch is."""
_FONT = 'font-family="DejaVu Sans" font-stretch="condensed"'
_DENT = "".join(str(tooth) for tooth in range(1, 9))


@dataclass(frozen=True)
class RimMap:
    """`overjet` and `misfit` in mm by station, `marked` stations; words for what is drawn."""

    overjet: Mapping[str, float]
    marked: tuple[str, ...]
    misfit: Mapping[str, float] = field(default_factory=dict)
    midline: bool = False
    midline_shift: float = 0.0
    canine_lines: bool = False
    right: str = "right"
    left: str = "left"
    midline_word: str = "midline"
    point: str = "."
    """The decimal mark."""

    def number(self, mm: float) -> str:
        return number_text(mm).replace(".", self.point)


def rim_map(drawn: RimMap) -> str:
    """Seen from above, front below, patient's right on the left; the same millimetres both ways."""
    upper = {station: (X[station], Y[station]) for station in STATIONS}
    lower = {station: _inward(station, drawn.overjet.get(station, 0.0)) for station in STATIONS}
    back = {station: _inward(station, _BREADTH) for station in STATIONS}
    parts = [
        f'<path d="{_curve(upper)} L{_curve(back, reverse=True)[1:]} Z" fill="#f1efe8"/>',
        f'<path d="{_curve(upper)}" fill="none" stroke="#15222a" stroke-width=".6"/>',
        f'<path d="{_curve(back)}" fill="none" stroke="#8a959b" stroke-width=".25"/>',
    ]
    if drawn.overjet:
        dashed = f'd="{_curve(lower)}" fill="none" stroke="#0b4a57" stroke-width=".5" stroke-dasharray="1.6 .9"'
        parts.append(f"<path {dashed}/>")
    parts += [_overjet(station, drawn.number(mm)) for station, mm in drawn.overjet.items()]
    parts += [_mark(station, _misfit(drawn, station)) for station in drawn.marked]
    parts += _lines(drawn)
    parts += [_text(-37, 66, drawn.right, 2.9), _text(37, 66, drawn.left, 2.9)]
    return _svg(-46, 46.5, 92, 56, "".join(parts))


def quadrants() -> str:
    """Teeth 18-11 | 21-28 over 48-41 | 31-38, 13 to 23 shaded; ISO 3950."""
    rows = (("1", "2", 0.0), ("4", "3", 7.0))
    cells = []
    for right, left, y in rows:
        teeth = [right + tooth for tooth in reversed(_DENT)] + [left + tooth for tooth in _DENT]
        cells += [_tooth(tooth, number, y) for number, tooth in enumerate(teeth)]
    cross = '<path d="M0 7H96M48 -1V15" stroke="#15222a" stroke-width=".5"/>'
    return _svg(-0.5, -1.5, 97, 17, "".join(cells) + cross)


def _tooth(tooth: str, number: int, y: float) -> str:
    shaded = tooth in ("13", "12", "11", "21", "22", "23")
    tint = f'<rect x="{number * 6:g}" y="{y:g}" width="6" height="7" fill="#cfe3e7"/>' if shaded else ""
    return tint + _text(number * 6 + 3, y + 4.7, tooth, 3.2, bold=shaded)


def _overjet(station: str, mm: str) -> str:
    """Outside the rim, clear of the lines that cross it at the front and at the canines."""
    x, y = _inward(station, -3.6)
    along = {"front": 4.0, "canine_right": 3.6, "canine_left": -3.6}.get(station, 0.0)
    x, y = x + TANGENT[station][0] * along, y + TANGENT[station][1] * abs(along)
    return _text(x, y + 1.1, mm, 3.0)


def _mark(station: str, misfit: str) -> str:
    """A bar across both rims, and behind it how far its halves miss each other."""
    out, into = _inward(station, -1.2), _inward(station, _BREADTH + 1.2)
    bar = f'<path d="M{_at(*out)}L{_at(*into)}" stroke="#7f1616" stroke-width="1" stroke-linecap="round"/>'
    if not misfit:
        return bar
    x, y = _inward(station, _BREADTH + 5)
    return bar + _text(x, y + 0.9, misfit, 2.6, colour="#7f1616")


def _misfit(drawn: RimMap, station: str) -> str:
    """With its sign; "" where none is given."""
    mm = drawn.misfit.get(station)
    return "" if mm is None else ("+" if mm > 0 else "") + drawn.number(mm)


def _lines(drawn: RimMap) -> list[str]:
    parts = []
    style = 'stroke="#46347a" stroke-width=".4" stroke-dasharray="2.4 .8 .5 .8"'
    if drawn.midline:
        x = drawn.midline_shift
        parts.append(f'<path d="M{_at(x, 78)}L{_at(x, 95.5)}" {style}/>')
        parts.append(_text(x, 99, drawn.midline_word, 2.6, colour="#46347a"))
    if drawn.canine_lines:
        for station in CANINES:
            out, into = _inward(station, -5), _inward(station, _BREADTH + 0.5)
            parts.append(f'<path d="M{_at(*out)}L{_at(*into)}" {style}/>')
    return parts


def _inward(station: str, mm: float) -> tuple[float, float]:
    """The point that far inside the labial face, square to the rim."""
    along_x, along_y = TANGENT[station]
    across_x, across_y = along_y, -along_x
    if across_x * X[station] + across_y * (Y[station] - 60) < 0:
        across_x, across_y = -across_x, -across_y
    return X[station] - across_x * mm, Y[station] - across_y * mm


def _curve(points: Mapping[str, tuple[float, float]], *, reverse: bool = False) -> str:
    """A smooth line through the stations (Catmull-Rom as cubic Bezier)."""
    row = [points[station] for station in (reversed(STATIONS) if reverse else STATIONS)]
    padded = [row[0], *row, row[-1]]
    path = f"M{_at(*row[0])}"
    for before, start, end, after in zip(padded, padded[1:], padded[2:], padded[3:], strict=False):
        one = (start[0] + (end[0] - before[0]) / 6, start[1] + (end[1] - before[1]) / 6)
        two = (end[0] - (after[0] - start[0]) / 6, end[1] - (after[1] - start[1]) / 6)
        path += f"C{_at(*one)} {_at(*two)} {_at(*end)}"
    return path


def _at(x: float, y: float) -> str:
    return f"{x:.3f} {y:.3f}"


def _text(x: float, y: float, words: str, size: float, *, bold: bool = False, colour: str = "#15222a") -> str:
    weight = ' font-weight="700"' if bold else ""
    place = f'x="{x:.3f}" y="{y:.3f}" font-size="{size:g}" text-anchor="middle" fill="{colour}"'
    return f"<text {place} {_FONT}{weight}>{escape(words)}</text>"


def _svg(x: float, y: float, width: float, height: float, inside: str) -> str:
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{x:g} {y:g} {width:g} {height:g}">{inside}</svg>'
