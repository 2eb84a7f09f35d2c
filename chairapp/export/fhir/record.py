"""The act, what was accepted in it, the order to the laboratory, and the case box."""

from collections.abc import Iterator
from typing import Any

from chairapp.export.fhir import codes
from chairapp.export.fhir.about import About
from chairapp.sequence.say import text
from chairapp.visit import movements, wanted

__all__ = ["record"]

Doc = dict[str, Any]
_PLACES = {"laboratory": "in-progress", "clinic": "in-progress", "chair": "in-progress", "finished": "completed"}
_QUADRANTS = ("11-17", "21-27", "31-37", "41-47")


def record(about: About) -> Iterator[Doc]:
    """A visit that was never signed has no order, and one whose box never moved and that was never signed no task."""
    yield _patient(about)
    yield _procedure(about)
    yield from _issues(about)
    yield _box(about)
    if about.was_signed:
        yield _order(about)
    if about.was_signed or movements(about.entries):
        yield _task(about)


def _patient(about: About) -> Doc:
    """Stands where FHIR demands a patient: found by the visit and its box, with nothing of the person."""
    uri = {"system": "urn:ietf:rfc:3986", "value": f"urn:uuid:{about.id}"}
    return about.made("Patient", "patient", identifier=[uri, codes.identifier("box", about.box)])


def _procedure(about: About) -> Doc:
    period = {"start": about.opened["at"]}
    if about.signed:
        period["end"] = about.state["signatures"][-1]["at"]
    return about.made(
        "Procedure",
        "procedure",
        identifier=[{"system": "urn:ietf:rfc:3986", "value": f"urn:uuid:{about.id}"}],
        status="completed" if about.signed else "in-progress",
        code=codes.own_concept("record"),
        subject=about.patient,
        performedPeriod=period,
        performer=[{"actor": about.by(about.opened["author"])}],
        report=None,
    )


def _issues(about: About) -> Iterator[Doc]:
    """What was found and gone on with: an acceptance that holds, its reason as the mitigation."""
    for step, accepted in about.state["acceptances"].items():
        given = about.verdict["steps"][step]["acceptance"]
        if not given["holds"]:
            continue
        title = text(about.sequence, "en", f"step.{step}.title", {}) or step
        found = [codes.finding(code) for code, _ in accepted["codes"]] or [codes.own("accepted")]
        action = {"coding": [codes.own("accepted")], "text": accepted["reason"]}
        mitigation = {"action": action, "date": accepted["at"], "author": about.by(accepted["author"])}
        yield about.made(
            "DetectedIssue",
            f"accepted {step}",
            status="final",
            code={"coding": found, "text": f"{title}: accepted outside its band"},
            patient=about.patient,
            identifiedDateTime=accepted["at"],
            author=about.by(accepted["author"]),
            implicated=[about.to("Observation", f"verdict {step}")] if about.verdict["steps"][step]["required"] else [],
            mitigation=[mitigation],
        )


def _box(about: About) -> Doc:
    return about.made(
        "Device",
        "box",
        identifier=[codes.identifier("box", about.box)],
        status="active",
        type=codes.own_concept("case-box"),
        patient=about.patient,
    )


def _order(about: About) -> Doc:
    """What the laboratory is asked for: `revoked` while the record it was written from does not hold."""
    signature = about.state["signatures"][-1]
    return about.made(
        "DeviceRequest",
        "order",
        status="active" if about.signed else "on-hold",
        intent="order",
        codeCodeableConcept=codes.own_concept("set-up"),
        parameter=[
            {"code": codes.own_concept(code), "valueCodeableConcept": {"text": value}}
            for code, value in _parameters(about)
        ],
        subject=about.patient,
        authoredOn=signature["at"],
        requester=about.by(signature["author"]),
        reasonReference=[],
        supportingInfo=[about.to("QuestionnaireResponse", "response")],
    )


def _parameters(about: About) -> Iterator[tuple[str, str]]:
    for code in ("shade", "mould"):
        if value := about.value(f"teeth.{code}"):
            yield code, value
    yield "positions", f"{', '.join(_QUADRANTS)} (ISO 3950)"


def _task(about: About) -> Doc:
    moved = movements(about.entries)
    day = wanted(about.entries)
    place = moved[-1]["value"]["to"] if moved else None
    focus = about.to("DeviceRequest", "order") if about.was_signed else about.to("Device", "box")
    return about.made(
        "Task",
        "box task",
        status=_PLACES.get(place, "in-progress") if place else "requested",
        businessStatus={"text": f"the box is at: {place}"} if place else None,
        intent="order",
        code=codes.own_concept("take-to-laboratory"),
        focus=focus,
        **{"for": about.patient},
        authoredOn=moved[0]["at"] if moved else about.opened["at"],
        lastModified=moved[-1]["at"] if moved else None,
        restriction={"period": {"end": day}} if day else None,
        input=[{"type": codes.own_concept("case-box"), "valueReference": about.to("Device", "box")}],
    )
