"""A simulated mouth: a jaw on a hinge, two rims, readings with or without noise, wax laid on as planes.

Heights in mm, angles in deg. The upper edge lies `low[station]` below a plane through the resting lip that is parallel
to both reference lines. The rims are `apart[station]` at an opening of nought; the jaw opens about the hinge, so an
opening of c mm at the front parts a station by c y / 88 more. It closes until the first station touches. Skin points
move 1/k mm for 1 mm at the front of the rim.
"""

import math

from chairapp.judge.rim import HINGE, SIDES, STATIONS, X, Y, side_of

_SKIN_CLOSED = 60.0
# Standard deviations of one reading at noise 1, invented: about what a careful person manages.
NOISE = {"display": 0.3, "angle": 0.7, "gap": 0.15, "skin": 0.4}
PAPER = 0.02


class Mouth:
    """`display`, tilts in deg and `gaps` as a perfect examiner would read them; `distance` on the skin."""

    def __init__(self, display, front, right, left, gaps, distance, *, k=0.75):
        self.k = k
        behind = {"right": math.tan(math.radians(right)), "left": math.tan(math.radians(left)), "front": 0}
        self.low = {}
        for station in STATIONS:
            across = max(-17, min(17, X[station])) * math.tan(math.radians(front))
            self.low[station] = display - across + max(0, 80 - Y[station]) * behind[side_of(station)]
        self.apart = dict(gaps)
        self.rest = self._closed() + distance * k

    @classmethod
    def random(cls, rng, *, k=0.75):
        """Any start a clinic may see, and some it will not."""
        gaps = {station: rng.choice([0, rng.uniform(0, 4)]) for station in STATIONS}
        gaps[rng.choice(STATIONS)] = 0
        tilts = [rng.uniform(-9, 9), rng.uniform(-10, 10), rng.uniform(-10, 10)]
        return cls(rng.uniform(-4, 8), *tilts, gaps, rng.uniform(-1, 10), k=k)

    def _closed(self):
        """The opening, at the front, at which the first station touches."""
        return max(-self.apart[station] * HINGE / Y[station] for station in STATIONS)

    def gaps(self):
        closed = self._closed()
        return {station: self.apart[station] + closed * Y[station] / HINGE for station in STATIONS}

    def display(self):
        return self.low["front"]

    def tilts(self):
        """Front (+ right lower), right and left (+ back lower)."""
        low = self.low
        found = [math.atan((low["canine_right"] - low["canine_left"]) / 34)]
        found += [math.atan((low["molar_" + side] - low["canine_" + side]) / 28) for side in SIDES]
        return [math.degrees(angle) for angle in found]

    def distance(self):
        """The interocclusal distance on the skin."""
        return (self.rest - self._closed()) / self.k

    def wax(self, rim, stations):
        """Wax added (+) to the height of a rim or taken off (-)."""
        for station in stations:
            self.apart[station] -= stations[station]
            if rim == "upper":
                self.low[station] += stations[station]

    def soften(self):
        """The softened lower surface takes the form of the upper: no wax is lost, so the mean gap closes."""
        opening = -sum(self.apart.values()) / sum(Y[station] / HINGE for station in STATIONS)
        self.apart = {station: -opening * Y[station] / HINGE for station in STATIONS}

    def readings(self, rng=None, noise=0.0, times=3):
        """Answers for the items the wax plan reads; exact without noise, else off by chance and on the pad's grid."""

        def read(value, kind, pad):
            if not noise:
                return value
            return math.floor((value + rng.gauss(0, NOISE[kind] * noise)) / pad + 0.5) * pad

        def read_gap(mm):
            """Articulating paper is held where the rims touch: misread is only how far they stand apart."""
            return 0.0 if noise and mm < PAPER else max(0.0, read(mm, "gap", 0.25))

        front, right, left = self.tilts()
        gaps = self.gaps()
        closed, rest = _SKIN_CLOSED, _SKIN_CLOSED + self.distance()
        return {
            "display.rest": [read(self.display(), "display", 0.5)],
            "plane.front": [read(front, "angle", 0.5)],
            "plane.right": [read(right, "angle", 0.5)],
            "plane.left": [read(left, "angle", 0.5)],
            "contact.gap": {station: read_gap(gaps[station]) for station in STATIONS},
            "vertical.rest": [read(rest, "skin", 0.5) for _ in range(times)],
            "vertical.occlusal": [read(closed, "skin", 0.5) for _ in range(times)],
        }
