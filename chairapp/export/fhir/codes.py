"""Names: what our own code system and identifiers are called, ids of resources, and the codes of others we use.

Canonical names are UUIDs made from words (RFC 9562, version 5): a web address would have to belong to somebody, and
would look as if something could be fetched there. Own codes stand first in every coding; LOINC's follow where one fits.
"""

import uuid
from collections.abc import Iterable, Iterator
from typing import Any

from chairapp.case.entries import KINDS
from chairapp.judge.codes import CODES
from chairapp.judge.rim import STATIONS
from chairapp.sequence.say import choice, label, text
from sync.erased import ERASURE

__all__ = [
    "LOINC_NOTICE",
    "OURS",
    "UCUM",
    "canonical",
    "code_system",
    "coded",
    "coding",
    "identifier",
    "loinc",
    "pointer",
    "quantity",
    "resource_id",
    "version_of",
]

Doc = dict[str, Any]

_NAMES = uuid.UUID("6f0d6c8e-54f3-5d3b-9a53-3a8d1a4f7c21")
LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
LOINC_NOTICE = (
    "This material contains content from LOINC (http://loinc.org). LOINC is copyright © Regenstrief Institute, Inc. "
    "and the Logical Observation Identifiers Names and Codes (LOINC) Committee and is available at no cost under the "
    "license at http://loinc.org/license. LOINC® is a registered United States trademark of Regenstrief Institute, Inc."
)
_LOINC = {
    "vertical.occlusal": ("32919-3", "Vertical dimension of occlusion"),
    "overjet.gap": ("32916-9", "Overjet"),
}
_UNITS = ("mm", "deg")
"""All units there are. A syntax check would let `Mm` pass, a million metres."""

# Words of ours that are no part of a sequence.
_OWN = {
    "record": "Jaw relation record with occlusion rims",
    "set-up": "Set-up of the teeth of complete dentures, for the try-in",
    "case-box": "Case box with occlusion rims and casts",
    "take-to-laboratory": "Case box to the laboratory and back",
    "accepted": "Gone on with outside its band, by decision of the clinician",
    "verdict": "Verdict of a step of the sequence",
    "interocclusal_distance": "Interocclusal distance, rest less occlusal vertical dimension, on the skin",
    "interval-low": "Lower end of the 95 % interval",
    "interval-high": "Upper end of the 95 % interval",
    "looks_parallel": "Looks parallel, judged by eye",
    "marked": "Alignment mark at this station",
    "shade": "Shade",
    "mould": "Mould",
    "positions": "Tooth positions after ISO 3950",
    "signed": "Signed",
    "changed-after-signing": "Changed after it was signed",
    "looked-at": "Looked at, or exported",
    "clinician": "Clinician",
    "supervised": "Supervised clinician",
    "supervisor": "Supervisor",
}
_KINDS = (*KINDS, ERASURE)


def canonical(name: str) -> str:
    """The canonical name of something of ours; the same name at every clinic."""
    return f"urn:uuid:{uuid.uuid5(_NAMES, name)}"


OURS = canonical("code system")


def resource_id(visit: str, name: str) -> str:
    """The id of a resource of this visit: the same whenever the same record is exported."""
    return str(uuid.uuid5(uuid.UUID(visit), name))


def identifier(kind: str, value: str) -> Doc:
    """An identifier of ours: staff, device, box, clinic."""
    return {"system": canonical(f"{kind} id"), "value": value}


def version_of(sequence: Doc, digest: str) -> str:
    """`digest` is the sequence's own, which takes longer to work out than a visit to write."""
    return f"{sequence['version']}-{digest[:16]}"


def coding(code: str, display: str) -> Doc:
    return {"system": OURS, "code": code, "display": display}


def coded(code: str, display: str) -> Doc:
    """A CodeableConcept with our code, and LOINC's behind it where the item has one."""
    return {"coding": [coding(code, display), *loinc(code)], "text": display}


def loinc(item: str) -> list[Doc]:
    if item not in _LOINC:
        return []
    code, display = _LOINC[item]
    return [{"system": LOINC, "code": code, "display": display}]


def quantity(value: float, unit: str) -> Doc:
    """Raises ValueError for a unit that is none of ours."""
    if unit not in _UNITS:
        raise ValueError(f"{unit!r} is no unit of an export")
    return {"value": value, "unit": unit, "system": UCUM, "code": unit}


def pointer(kind: str, id: str) -> Doc:
    """A reference to a resource of the same bundle; `kind` says which sort it is."""
    return {"reference": f"urn:uuid:{id}", "type": kind}


def own(code: str) -> Doc:
    return coding(code, _OWN[code])


def own_concept(code: str) -> Doc:
    return {"coding": [own(code)], "text": _OWN[code]}


def code_system(sequences: Iterable[Doc], made: str) -> Doc:
    """Every code of ours: of these sequences, of the judge, of the entries, and a few words of our own."""
    concepts: dict[str, str] = {}
    for sequence in sequences:
        for code, display in _codes_of(sequence):
            concepts.setdefault(code, display)
    for code, display in (*_OWN.items(), *_of_the_judge()):
        concepts.setdefault(code, display)
    return {
        "resourceType": "CodeSystem",
        "id": str(uuid.uuid5(_NAMES, "code system")),
        "url": OURS,
        "version": "1",
        "name": "ThreemarkJawRelation",
        "title": "Threemark: jaw relation visits",
        "status": "active",
        "experimental": False,
        "date": made,
        "description": "Steps, items, choices, stations, verdicts and findings of the jaw relation sequence.",
        "caseSensitive": True,
        "content": "complete",
        "count": len(concepts),
        "concept": [{"code": code, "display": display} for code, display in concepts.items()],
    }


def choice_code(item: str, value: str) -> str:
    return f"{item}/{value}"


def station(sequence: Doc, name: str) -> Doc:
    return coding(f"station/{name}", text(sequence, "en", f"station.{name}", {}) or name)


def verdict(sequence: Doc, name: str) -> Doc:
    return coding(f"verdict/{name}", text(sequence, "en", f"verdict.{name}", {}) or name)


def step(sequence: Doc, name: str) -> Doc:
    return coding(f"step/{name}", text(sequence, "en", f"step.{name}.title", {}) or name)


def chosen(sequence: Doc, item: str, value: str) -> Doc:
    return coding(choice_code(item, value), choice(sequence, "en", item, value))


def _codes_of(sequence: Doc) -> Iterator[tuple[str, str]]:
    for one in sequence["steps"]:
        made = step(sequence, one["id"])
        yield made["code"], made["display"]
        for item in one["items"]:
            yield item["id"], label(sequence, "en", item["id"])
            for value in item["choices"]:
                yield choice_code(item["id"], value), choice(sequence, "en", item["id"], value)
    for name in STATIONS:
        made = station(sequence, name)
        yield made["code"], made["display"]
    for name in ("open", "stale", "unsure", "off", "fits", "accepted"):
        made = verdict(sequence, name)
        yield made["code"], made["display"]


def _of_the_judge() -> Iterator[tuple[str, str]]:
    for code in CODES:
        yield f"finding/{code}", code.replace("_", " ")
    for kind in _KINDS:
        yield f"entry/{kind}", f"entry of kind {kind}"
    yield "entry/other", "entry of a kind this version does not know"


def finding(code: str) -> Doc:
    known = code if code in CODES else None
    return coding(f"finding/{known}", known.replace("_", " ")) if known else own("accepted")


def entry_kind(kind: str) -> Doc:
    known = kind if kind in _KINDS else "other"
    display = f"entry of kind {kind}" if known == kind else "entry of a kind this version does not know"
    return coding(f"entry/{known}", display)
