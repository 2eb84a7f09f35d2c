"""Visits to judge: entries made in a few words, and the one in which everything fits."""

from chairapp.judge.rim import STATIONS
from chairapp.sequence import document, jaw_relation

SEQUENCE = document(jaw_relation())

FITTING = {
    "seating.upright": "upright",
    "seating.glasses": "off",
    "seating.points": "tip_and_chin",
    "seating.tragus": "middle",
    "seating.stable": "stable",
    "bench.sealed": "sealed",
    "bench.heel": "short",
    "lip.support": "supported",
    "display.rest": [1.5],
    "display.fv": "touches",
    "plane.front": [0.5],
    "plane.right": [-1],
    "plane.left": [1],
    "lower.commissure": "level",
    "lower.pad_right": "half",
    "lower.pad_left": "two_thirds",
    "contact.position": "same",
    "contact.gap": dict.fromkeys(STATIONS, 0),
    "vertical.rest_bases": "upper",
    "vertical.rest": [70, 70.5, 70],
    "vertical.occlusal": [67, 67, 67.5],
    "vertical.s_sound": "clear",
    "vertical.m_rest": "easy",
    "overjet.gap": dict.fromkeys(STATIONS, 2),
    "bases.closing": "clear",
    "bases.forward": "clear",
    "marks.placed": {"front": True, "molar_right": True, "molar_left": True},
    "marks.misfit": {"front": 0, "molar_right": 0, "molar_left": 0},
    "marks.one_position": "one",
    "record.count": 3,
    "record.agreement": [0.25],
    "lines.midline": "marked",
    "lines.canines": "marked",
}
REQUIRED = ["seating", "bench", "lip", "display", "plane", "lower", "contact", "vertical", "overjet", "bases", "marks"]


class Visit:
    """Builds the entries of a visit in order. Every entry knows of every adjustment before it, unless told otherwise.

    `device` is the tablet; `known` the adjustments it has heard of (None: all).
    """

    def __init__(self, sequence=None):
        self.sequence = sequence or SEQUENCE
        self.entries = []

    def add(self, kind, item, value=None, *, of=None, device="t1", seen=None, clock=None, author="A"):
        number = len(self.entries) + 1
        entry = {
            "v": 1,
            "id": f"e{number:04d}",
            "visit": "v1",
            "kind": kind,
            "item": item,
            "value": value,
            "of": of,
            "seen": self.frontier() if seen is None else seen,
            "at": f"2026-11-25T09:{number // 60:02d}:{number % 60:02d}Z",
            "clock": [clock or number * 1000, 0],
            "device": device,
            "author": author,
        }
        self.entries.append(entry)
        return entry["id"]

    def frontier(self):
        """The adjustments that are in no other adjustment's past."""
        made = [entry for entry in self.entries if entry["kind"] == "adjustment"]
        older = {seen for entry in made for seen in entry["seen"]}
        return [entry["id"] for entry in made if entry["id"] not in older]

    def give(self, answers=None, **by_name):
        """Answers and readings: a list is readings one by one, everything else an answer."""
        for item, value in {**(answers or {}), **by_name}.items():
            if isinstance(value, list):
                for one in value:
                    self.add("reading", item, one)
            else:
                self.add("answer", item, value)
        return self

    def adjust(self, rim, surface, stations, **more):
        if not isinstance(stations, dict):
            stations = dict.fromkeys(STATIONS, stations)
        value = {"rim": rim, "surface": surface, "stations": stations}
        return self.add("adjustment", "wax", value, **more)

    def accept(self, step, reason="it is so", codes=None, **more):
        """Accepts what the step shows now, as the tablet does."""
        if codes is None:
            findings = self.judged()["steps"][step]["findings"]
            codes = [[found["code"], found["value"]] for found in findings if found["level"] != "note"]
        return self.add("acceptance", step, {"reason": reason, "codes": codes}, **more)

    def sign(self, covers=None, **more):
        if covers is None:
            covers = {}
            for entry in self.entries:
                covers[entry["device"]] = max(entry["id"], covers.get(entry["device"], ""))
        value = {"role": "clinician", "covers": covers, "digest": "d", "verdicts": {}, "judge": "1"}
        return self.add("signature", "review", value, **more)

    def withdraw(self, entry_id, **more):
        item = next(entry["item"] for entry in self.entries if entry["id"] == entry_id)
        return self.add("withdrawal", item, of=entry_id, **more)

    def state(self):
        from chairapp.judge import settle

        return settle(self.sequence, self.entries)

    def judged(self):
        from chairapp.judge import judge

        return judge(self.sequence, self.entries)

    def verdict(self, step):
        return self.judged()["steps"][step]["verdict"]

    def codes(self, step, *, notes=False):
        findings = self.judged()["steps"][step]["findings"]
        return [found["code"] for found in findings if notes or found["level"] != "note"]


def fitting(**changed):
    """A visit in which everything fits, but for what is changed: `fitting(display__rest=[3])`; None leaves it out."""
    answers = {**FITTING, **{item.replace("__", "."): value for item, value in changed.items()}}
    return Visit().give({item: value for item, value in answers.items() if value is not None})
