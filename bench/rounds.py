"""Rounds of wax until all fits, in a simulated mouth: the wax plan against a plain habit, one finding at a time.

A round is wax laid on in steps of half a millimetre, then everything read anew. Both arms start from the same mouths
and read with the same scatter; small gaps are closed by softening in both. They stop when display, both planes,
contact and the interocclusal distance have no finding that calls for wax.

The habit modelled is a plain one: the first such finding in the order of the sequence is corrected by its own amount
over the whole rim (a slab for display and for distance, a tipped plane for a tilt, each gap filled where it is open).
A clinician of experience foresees some of what that disturbs and needs fewer rounds; no study of it is known to us.
"""

import math
import random
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from itertools import product
from statistics import median, quantiles
from typing import Any

from bench import Row
from chairapp.judge import judge
from chairapp.judge.numbers import to_step
from chairapp.judge.rim import HINGE, STATIONS, X, Y, side_of
from tests.judge.visits import FITTING, SEQUENCE, Visit
from tests.mouth import Mouth

MOUTHS = 2000
SEED = 20261125
PROCESSES = 2
NOISE = {"no noise": 0.0, "half noise": 0.5, "full noise": 1.0}
LIMIT = 60
STEP = 0.5
# Up to what gap softening closes, mm: what the page says; and what half-millimetre steps leave at most, a quarter at a
# station, once the jaw has closed on the highest one: 0.25 + 0.25 * 88 / 52.
SOFTENS = (0.5, 0.7)
ASKED = ("display.", "plane.", "contact.", "vertical.", "seating.")
NEEDS_WAX = ("display_", "tilt_", "contact_", "distance_")
STEPS = ("display", "plane", "contact", "vertical")

Readings = dict[str, Any]
Verdict = dict[str, Any]
Correct = Callable[[Mouth, Readings, Verdict], None]


def run() -> list[Row]:
    rows: list[Row] = []
    with ProcessPoolExecutor(PROCESSES) as pool:
        for (name, noise), softens in product(NOISE.items(), SOFTENS):
            pairs = list(pool.map(partial(_both, noise, softens), range(MOUTHS), chunksize=50))
            plan, habit = zip(*pairs, strict=True)
            rows += _side_by_side(f"{name}, softening {softens} mm", plan, habit)
    return rows


def _side_by_side(name: str, plan: tuple[int, ...], habit: tuple[int, ...]) -> list[Row]:
    rows = []
    for what, of in (("median", median), ("90th percentile", _ninetieth)):
        ours, theirs = float(of(plan)), float(of(habit))
        rows.append(Row(f"{name}, {what}: one finding at a time", theirs, "rounds"))
        rows.append(Row(f"{name}, {what}: wax plan", ours, "rounds", ours / theirs, "one at a time", "<= 0.5"))
    for arm, rounds in (("one finding at a time", habit), ("wax plan", plan)):
        unsettled = sum(count >= LIMIT for count in rounds)
        rows.append(Row(f"{name}, not settled in {LIMIT} rounds: {arm}", float(unsettled), f"of {len(rounds)}"))
    return rows


def _ninetieth(rounds: tuple[int, ...]) -> float:
    return quantiles(rounds, n=10, method="inclusive")[-1]


def _both(noise: float, softens: float, number: int) -> tuple[int, int]:
    """Rounds with the plan and with the habit, from the same mouth."""
    return _rounds(number, noise, softens, _follow_plan), _rounds(number, noise, softens, _follow_habit)


def _rounds(number: int, noise: float, softens: float, correct: Correct) -> int:
    mouth = Mouth.random(random.Random(f"{SEED} {number}"))
    reading = random.Random(f"{SEED} {number} reading")
    for count in range(LIMIT):
        readings, verdict = _read(mouth, reading, noise)
        if not _for_wax(verdict):
            return count
        correct(mouth, readings, verdict)
        if max(mouth.gaps().values()) < softens:
            mouth.soften()
    return LIMIT


def _read(mouth: Mouth, reading: random.Random, noise: float) -> tuple[Readings, Verdict]:
    """Fresh readings and their verdict; those that disagree are taken again at once, which costs no round."""
    base = {item: value for item, value in FITTING.items() if item.startswith(ASKED)}
    while True:
        readings = mouth.readings(reading, noise)
        verdict = judge(SEQUENCE, Visit().give({**base, **readings}).entries)
        if not any(found["code"] == "disagree" for found in verdict["steps"]["vertical"]["findings"]):
            return readings, verdict


def _for_wax(verdict: Verdict) -> list[Verdict]:
    """The findings that call for wax, in the order of the sequence."""
    found = [found for step in STEPS for found in verdict["steps"][step]["findings"]]
    return [one for one in found if one["code"].startswith(NEEDS_WAX) and one["level"] != "note"]


# ---- the two arms


def _follow_plan(mouth: Mouth, _readings: Readings, verdict: Verdict) -> None:
    for rim in ("upper", "lower"):
        mouth.wax(rim, verdict["plan"]["shown"][rim])


def _follow_habit(mouth: Mouth, readings: Readings, verdict: Verdict) -> None:
    finding = _for_wax(verdict)[0]
    family, _, which = finding["code"].partition("_")
    if family == "display":
        _lay(mouth, "upper", dict.fromkeys(STATIONS, 1.5 - finding["value"]))
    elif family == "tilt":
        _lay(mouth, "upper", _tipped(which, math.tan(math.radians(finding["value"]))))
    elif family == "contact":
        _lay(mouth, "lower", readings["contact.gap"])
    else:
        _lay(mouth, "lower", dict.fromkeys(STATIONS, finding["value"] - 3))


def _tipped(which: str, slope: float) -> dict[str, float]:
    """The plane tipped back: across about the midline, or one side about the front."""
    if which == "front":
        return {station: X[station] * slope for station in STATIONS}
    return {station: (Y[station] - HINGE) * slope for station in STATIONS if side_of(station) == which}


def _lay(mouth: Mouth, rim: str, wax: dict[str, float]) -> None:
    mouth.wax(rim, {station: to_step(wax[station], STEP) for station in wax})
