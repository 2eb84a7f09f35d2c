"""A visit's facts in words: what was measured, what was accepted and why, what was wished for."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from chairapp.judge.numbers import signed_text
from chairapp.judge.rim import STATIONS
from chairapp.sequence.say import choice, label, number, places, pointed, sentence, text

__all__ = ["Accepted", "Fact", "Group", "accepted", "measured", "notes", "value_in_words"]

Doc = dict[str, Any]
Say = Callable[..., str]
_NOTES = ("existing.note", "packing.note")


@dataclass(frozen=True)
class Fact:
    item: str
    label: str
    value: str


@dataclass(frozen=True)
class Group:
    title: str
    facts: tuple[Fact, ...]


@dataclass(frozen=True)
class Accepted:
    """`found` are the sentences of what was accepted."""

    title: str
    found: tuple[str, ...]
    reason: str
    author: str


def measured(sequence: Doc, state: Doc, verdict: Doc, steps: Iterable[str], language: str, say: Say) -> list[Group]:
    """The steps' items that hold a value of the present round, in the order of the sequence."""
    groups = []
    for step in sequence["steps"]:
        if step["id"] in steps:
            facts = [_fact(sequence, state, item["id"], language, say) for item in step["items"]]
            facts += _derived(step["id"], sequence, state, verdict, language, say)
            title = text(sequence, language, f"step.{step['id']}.title", {})
            groups.append(Group(title, tuple(fact for fact in facts if fact.value)))
    return groups


def accepted(sequence: Doc, verdict: Doc, language: str) -> list[Accepted]:
    """The steps that stand accepted, with what was found there; the verdict's words are in its language."""
    found = []
    for step, judged in verdict["steps"].items():
        if judged["verdict"] == "accepted":
            said = tuple(finding["text"] for finding in judged["findings"] if finding["level"] != "note")
            title = text(sequence, language, f"step.{step}.title", {})
            found.append(Accepted(title, said, judged["acceptance"]["reason"], judged["acceptance"]["author"]))
    return found


def notes(sequence: Doc, state: Doc, language: str) -> list[Fact]:
    """What was written in words: on the old dentures, at the steps, to the laboratory."""
    rows = [Fact(item, label(sequence, language, item), state["items"][item]["value"] or "") for item in _NOTES]
    rows[1:1] = [
        Fact(one["step"], text(sequence, language, f"step.{one['step']}.title", {}), one["value"])
        for one in state["notes"]
        if not one["withdrawn"]
    ]
    return [row for row in rows if row.value]


def value_in_words(sequence: Doc, state: Doc, item: str, language: str, say: Say) -> str:
    """An item's present value: "2 mm", "67.67 mm (mean of 3 readings)", "2 mm at all seven places"; "" without one."""
    row = state["items"][item]
    if not row["fresh"] or row["value"] is None:
        return ""
    value, unit = row["value"], _unit(sequence, item, language)
    if isinstance(value, dict):
        return _at_stations(sequence, value, unit, language, say)
    if isinstance(value, list):
        return ", ".join(choice(sequence, language, item, one) for one in value)
    if isinstance(value, str):
        return choice(sequence, language, item, value)
    said = number(sequence, language, value) + unit
    count = len(row["readings"])
    return say("mean", value=said, count=count) if count > 1 else said


def _fact(sequence: Doc, state: Doc, item: str, language: str, say: Say) -> Fact:
    return Fact(item, label(sequence, language, item), value_in_words(sequence, state, item, language, say))


def _derived(step: str, sequence: Doc, state: Doc, verdict: Doc, language: str, say: Say) -> list[Fact]:
    if step == "bench":
        return [Fact("wax", say("wax"), said) for said in _wax(sequence, state, language)]
    distance = verdict["derived"]["interocclusal_distance"]
    if step != "vertical" or not distance:
        return []
    unit = text(sequence, language, "after.mm", {})
    value = number(sequence, language, distance["value"]) + unit
    if distance["low"] is not None:
        low, high = (number(sequence, language, distance[end]) for end in ("low", "high"))
        value = say("interval", value=value, low=low, high=high + unit)
    return [Fact("interocclusal_distance", say("distance"), value)]


def _wax(sequence: Doc, state: Doc, language: str) -> list[str]:
    """What all adjustments that stand come to, a line for each face of a rim."""
    sums: dict[tuple[str, str], dict[str, float]] = {}
    for change in state["adjustments"]:
        if not change["withdrawn"]:
            face = sums.setdefault((change["rim"], change["surface"]), {})
            for station, mm in change["stations"].items():
                face[station] = face.get(station, 0.0) + mm
    lines = []
    for (rim, surface), face in sums.items():
        where = _together(sequence, {station: mm for station, mm in face.items() if mm}, language)
        changed = "; ".join(f"{pointed(sequence, language, signed_text(mm))} mm: {places}" for mm, places in where)
        if changed:
            names = [text(sequence, language, key, {}) for key in (f"rim.{rim}", f"surface.{surface}")]
            lines.append(sentence(f"{', '.join(names)}: {changed}"))
    return lines


def _at_stations(sequence: Doc, value: Doc, unit: str, language: str, say: Say) -> str:
    """Stations of one value are said together; those of a set are only named."""
    said = []
    for one, where in _together(sequence, value, language):
        if one is True:
            said.append(where)
        elif one is not False:
            said.append(say("at", value=number(sequence, language, one) + unit, places=where))
    return "; ".join(said)


def _together(sequence: Doc, value: Doc, language: str) -> list[tuple[Any, str]]:
    groups: dict[Any, list[str]] = {}
    for station in STATIONS:
        if station in value:
            groups.setdefault(value[station], []).append(station)
    return [(one, places(sequence, language, where)) for one, where in groups.items()]


def _unit(sequence: Doc, item: str, language: str) -> str:
    found = next((one for step in sequence["steps"] for one in step["items"] if one["id"] == item), None)
    return text(sequence, language, f"after.{found['unit']}", {}) if found and found["unit"] else ""
