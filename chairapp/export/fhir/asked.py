"""What was asked and answered: Questionnaire and QuestionnaireResponse, step by step."""

import uuid
from typing import Any

from chairapp.export.fhir import codes
from chairapp.export.fhir.about import About
from chairapp.judge.entries import BY_EYE
from chairapp.judge.numbers import is_number
from chairapp.judge.rim import STATIONS
from chairapp.sequence.say import label, text

__all__ = ["questionnaire", "response"]

Doc = dict[str, Any]


def questionnaire(sequence: Doc, digest: str, made: str) -> Doc:
    """The sequence of this digest: a group a step, a group with a question a station where there are stations."""
    return {
        "resourceType": "Questionnaire",
        "id": str(uuid.UUID(digest[:32])),
        "url": codes.canonical(f"sequence {sequence['id']}"),
        "version": codes.version_of(sequence, digest),
        "name": "JawRelationSequence",
        "title": "Jaw relation sequence",
        "status": "active",
        "date": made,
        "copyright": codes.LOINC_NOTICE,
        "item": [_step(sequence, step) for step in sequence["steps"]],
    }


def response(about: About) -> Doc:
    """What is in force now; `amended` once it changed after it was signed."""
    version = codes.version_of(about.sequence, about.opened["value"]["digest"])
    return about.made(
        "QuestionnaireResponse",
        "response",
        questionnaire=f"{codes.canonical('sequence ' + about.sequence['id'])}|{version}",
        status="completed" if about.signed else "amended" if about.was_signed else "in-progress",
        subject=about.patient,
        authored=max(entry["at"] for entry in about.entries),
        author=about.by(about.opened["author"]),
        item=list(filter(None, (_answered(about, step) for step in about.sequence["steps"]))),
    )


# ---- the questions


def _step(sequence: Doc, step: Doc) -> Doc:
    group = {
        "linkId": step["id"],
        "code": [codes.step(sequence, step["id"])],
        "text": text(sequence, "en", f"step.{step['id']}.title", {}) or step["id"],
    }
    if not step["items"]:
        return group | {"type": "display"}
    questions = [question for item in step["items"] for question in _questions(sequence, item)]
    return group | {"type": "group", "item": questions}


def _questions(sequence: Doc, item: Doc) -> list[Doc]:
    asked: Doc = {
        "linkId": item["id"],
        "code": [codes.coding(item["id"], label(sequence, "en", item["id"])), *codes.loinc(item["id"])],
        "text": label(sequence, "en", item["id"]),
    }
    if item["kind"] == "stations":
        return [asked | {"type": "group", "item": [_at(sequence, item, station) for station in STATIONS]}]
    asked |= {"type": _type(item), "required": item["required"], "repeats": item["kind"] in ("reading", "list")}
    if item["choices"]:
        asked["answerOption"] = [
            {"valueCoding": codes.chosen(sequence, item["id"], value)} for value in item["choices"]
        ]
    return [asked, *([_by_eye(sequence, item)] if item["by_eye"] else [])]


def _type(item: Doc) -> str:
    if item["kind"] in ("choice", "list"):
        return "choice" if item["choices"] else "string"
    if item["kind"] == "text":
        return "text"
    # Minutes have no place in the two units of an export: a plain number, its unit is in the text.
    return "quantity" if item["unit"] in ("mm", "deg") else "decimal"


def _at(sequence: Doc, item: Doc, station: str) -> Doc:
    named = codes.station(sequence, station)
    kind = "quantity" if item["unit"] else "boolean"
    return {"linkId": f"{item['id']}/{station}", "code": [named], "text": named["display"], "type": kind}


def _by_eye(sequence: Doc, item: Doc) -> Doc:
    return {
        "linkId": f"{item['id']}/by_eye",
        "code": [codes.own("looks_parallel")],
        "text": f"{label(sequence, 'en', item['id'])}: looks parallel, judged by eye",
        "type": "boolean",
    }


# ---- the answers


def _answered(about: About, step: Doc) -> Doc | None:
    items = [answered for item in step["items"] if (answered := _answer(about, item))]
    return {"linkId": step["id"], "item": items} if items else None


def _answer(about: About, item: Doc) -> Doc | None:
    row = about.row(item["id"])
    if row is None or row["value"] is None:
        return None
    value = row["value"]
    if item["by_eye"] and value == BY_EYE:
        return {"linkId": f"{item['id']}/by_eye", "answer": [{"valueBoolean": True}]}
    if item["kind"] == "stations":
        items = [_station_answer(item, station, value[station]) for station in STATIONS if station in value]
        return {"linkId": item["id"], "item": items} if items else None
    given = [reading["value"] for reading in row["readings"]] if item["kind"] == "reading" else value
    values = given if isinstance(given, list) else [given]
    answers = [_value(about, item, one) for one in values if one != ""]
    return {"linkId": item["id"], "answer": answers} if answers else None


def _station_answer(item: Doc, station: str, value: Any) -> Doc:
    answer = {"valueQuantity": codes.quantity(value, item["unit"])} if item["unit"] else {"valueBoolean": value}
    return {"linkId": f"{item['id']}/{station}", "answer": [answer]}


def _value(about: About, item: Doc, value: Any) -> Doc:
    if is_number(value):
        quantity = _type(item) == "quantity"
        return {"valueQuantity": codes.quantity(value, item["unit"])} if quantity else {"valueDecimal": value}
    if value in item["choices"]:
        return {"valueCoding": codes.chosen(about.sequence, item["id"], value)}
    return {"valueString": value}
