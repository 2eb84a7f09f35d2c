"""What was measured, chosen and worked out: Observation."""

from collections.abc import Iterator
from typing import Any

from chairapp.export.fhir import codes
from chairapp.export.fhir.about import About
from chairapp.judge.entries import BY_EYE
from chairapp.judge.numbers import is_number
from chairapp.judge.rim import STATIONS
from chairapp.sequence.say import label

__all__ = ["observations"]

Doc = dict[str, Any]
_EXAM: list[Doc] = [
    {
        "coding": [
            {
                "system": "http://terminology.hl7.org/CodeSystem/observation-category",
                "code": "exam",
                "display": "Exam",
            }
        ]
    }
]
"""The one coding in which another's code stands alone: FHIR prefers this value set for the category."""


def observations(about: About) -> Iterator[Doc]:
    """Of every item in force that is a number, a choice or stations; the distance; the verdict of every step."""
    for item in about.items.values():
        row = about.row(item["id"])
        if row and row["value"] is not None and (what := _value(about, item, row)):
            yield _observation(about, item["id"], row, **what)
    if distance := _distance(about):
        yield distance
    for step, judged in about.verdict["steps"].items():
        if judged["required"]:
            yield _verdict(about, step, judged)


def _observation(about: About, item: str, row: Doc, **what: Any) -> Doc:
    return about.made(
        "Observation",
        f"item {item}",
        status=_status(about),
        category=_EXAM,
        code=codes.coded(item, label(about.sequence, "en", item)),
        subject=about.patient,
        effectiveDateTime=row["at"],
        performer=[about.by(row["author"])],
        **what,
    )


def _status(about: About) -> str:
    return "final" if about.signed else "amended" if about.was_signed else "preliminary"


def _value(about: About, item: Doc, row: Doc) -> Doc | None:
    """The element that holds the value; None for texts and lists, which stand in the response only."""
    value = row["value"]
    if item["kind"] == "stations":
        return {"component": [_at(about, item, station, value[station]) for station in STATIONS if station in value]}
    if value == BY_EYE:
        return {"valueCodeableConcept": codes.own_concept("looks_parallel")}
    if item["kind"] == "choice":
        return {"valueCodeableConcept": {"coding": [codes.chosen(about.sequence, item["id"], value)]}}
    if not is_number(value) or item["unit"] not in ("mm", "deg"):
        return None
    told: Doc = {"valueQuantity": codes.quantity(value, item["unit"]), "referenceRange": _range(item)}
    if item["kind"] == "reading":
        told["note"] = [{"text": _readings(row, item["unit"])}]
    return told


def _at(about: About, item: Doc, station: str, value: Any) -> Doc:
    code = {"coding": [codes.station(about.sequence, station)]}
    if item["unit"]:
        return {"code": code, "valueQuantity": codes.quantity(value, item["unit"]), "referenceRange": _range(item)}
    return {"code": code, "valueBoolean": value}


def _range(item: Doc) -> list[Doc]:
    return _limits(item["band"], item["unit"], "fits")


def _limits(band: list[float | None] | None, unit: str, words: str) -> list[Doc]:
    low, high = band or (None, None)
    limits = {name: codes.quantity(one, unit) for name, one in (("low", low), ("high", high)) if one is not None}
    return [limits | {"text": words}] if limits else []


def _readings(row: Doc, unit: str) -> str:
    values = ", ".join(f"{reading['value']:g}" for reading in row["readings"])
    return f"Mean of {len(row['readings'])}: {values} {unit}."


def _distance(about: About) -> Doc | None:
    """Rest less occlusal, from the two observations; `interval-low` and `-high` where there is an interval."""
    found = about.verdict["derived"].get("interocclusal_distance")
    rest, occlusal = about.row("vertical.rest"), about.row("vertical.occlusal")
    if not (found and rest and occlusal):
        return None
    ends = [(f"interval-{end}", found[end]) for end in ("low", "high") if found[end] is not None]
    return about.made(
        "Observation",
        "interocclusal_distance",
        status=_status(about),
        category=_EXAM,
        code=codes.own_concept("interocclusal_distance"),
        subject=about.patient,
        effectiveDateTime=max(rest["at"], occlusal["at"]),
        valueQuantity=codes.quantity(found["value"], "mm"),
        referenceRange=_limits(about.sequence["bands"]["interocclusal_distance"], "mm", "fits, on the skin"),
        component=[
            {"code": codes.own_concept(code), "valueQuantity": codes.quantity(value, "mm")} for code, value in ends
        ],
        derivedFrom=[about.to("Observation", f"item vertical.{one}") for one in ("rest", "occlusal")],
    )


def _verdict(about: About, step: str, judged: Doc) -> Doc:
    return about.made(
        "Observation",
        f"verdict {step}",
        status=_status(about),
        category=_EXAM,
        code={"coding": [codes.step(about.sequence, step)], "text": f"Verdict: {step}"},
        subject=about.patient,
        effectiveDateTime=max(entry["at"] for entry in about.entries),
        valueCodeableConcept={"coding": [codes.verdict(about.sequence, judged["verdict"])]},
        note=[{"text": finding["text"]} for finding in judged["findings"]],
    )
