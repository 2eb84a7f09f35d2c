"""Who signed and what came after: Provenance. Every entry, and every look at the record: AuditEvent."""

import base64
import json
from collections.abc import Iterator, Mapping
from typing import Any

from chairapp.export.fhir import codes
from chairapp.export.fhir.about import About
from sync.entry import time_text

__all__ = ["trail"]

Doc = dict[str, Any]
_SIGNATURES = "urn:iso-astm:E1762-95:2013"
_TYPES = {
    "clinician": ("1.2.840.10065.1.12.1.1", "Author's Signature"),
    "supervised": ("1.2.840.10065.1.12.1.1", "Author's Signature"),
    "supervisor": ("1.2.840.10065.1.12.1.5", "Verification Signature"),
}
_UPDATES = ("withdrawal", "erasure")


def trail(about: About) -> Iterator[Doc]:
    given = {entry["id"]: entry for entry in about.entries}
    for signature in about.state["signatures"]:
        yield _signed(about, signature, given[signature["id"]]["value"])
        if signature["void_by"]:
            yield _changed(about, signature)
    for entry in about.entries:
        yield _written(about, entry)
    for number, looked in enumerate(about.visit.source.access(about.id)):
        yield _looked(about, number, looked)


def _signed(about: About, signature: Doc, value: Doc) -> Doc:
    """The proof, where the signer has a key, is ECDSA P-256 over the words of the signature (r and s, 64 bytes)."""
    code, display = _TYPES.get(signature["role"], _TYPES["clinician"])
    made = {
        "type": [{"system": _SIGNATURES, "code": code, "display": display}],
        "when": signature["at"],
        "who": about.by(signature["author"]),
    }
    if isinstance(value.get("proof"), str):
        made |= {"sigFormat": "application/octet-stream", "data": _base64(value["proof"])}
    return about.made(
        "Provenance",
        f"signature {signature['id']}",
        target=_targets(about),
        recorded=signature["at"],
        activity=codes.own_concept("signed"),
        agent=[{"type": codes.own_concept(_role(signature)), "who": about.by(signature["author"])}],
        entity=[{"role": "source", "what": {"identifier": _digest(signature), "display": "the entries it covers"}}],
        signature=[made],
    )


def _changed(about: About, signature: Doc) -> Doc:
    """The first entry that the signature does not cover."""
    by = signature["void_by"]
    revised = {"identifier": _digest(signature), "display": "the record as it was signed"}
    return about.made(
        "Provenance",
        f"void {signature['id']}",
        target=_targets(about),
        recorded=by["at"],
        activity=codes.own_concept("changed-after-signing"),
        agent=[{"who": about.by(by["author"])}],
        entity=[{"role": "revision", "what": revised}],
    )


def _targets(about: About) -> list[Doc]:
    return [about.to("QuestionnaireResponse", "response"), about.to("Procedure", "procedure")]


def _role(signature: Doc) -> str:
    return signature["role"] if signature["role"] in _TYPES else "clinician"


def _digest(signature: Doc) -> Doc:
    return codes.identifier("record digest", str(signature["digest"]))


def _base64(base64url: str) -> str:
    raw = base64.urlsafe_b64decode(base64url + "=" * (-len(base64url) % 4))
    return base64.b64encode(raw).decode()


def _written(about: About, entry: Doc) -> Doc:
    said = {"kind": entry["kind"], "item": entry["item"], "value": _text(entry["value"]), "of": entry["of"]}
    received = about.visit.arrived[entry["id"]].received
    return about.made(
        "AuditEvent",
        f"entry {entry['id']}",
        type=codes.entry_kind(entry["kind"]),
        action="U" if entry["kind"] in _UPDATES else "C",
        period={"start": entry["at"]},
        recorded=time_text(received),
        outcome="0",
        agent=[{"who": about.by(entry["author"]), "requestor": True}],
        source={"observer": {"identifier": codes.identifier("device", entry["device"]), "type": "Device"}},
        entity=[
            {
                "what": about.to("QuestionnaireResponse", "response"),
                "name": f"urn:uuid:{entry['id']}",
                "detail": [{"type": name, "valueString": text} for name, text in said.items() if text],
            }
        ],
    )


def _text(value: Any) -> str | None:
    if value is None or value == "":
        return None
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def _looked(about: About, number: int, looked: Mapping[str, Any]) -> Doc:
    who = {"identifier": codes.identifier("staff", str(looked["who"]))}
    return about.made(
        "AuditEvent",
        f"looked {number} {looked['at']}",
        type=codes.own("looked-at"),
        action="R",
        recorded=looked["at"],
        outcome="0",
        outcomeDesc=looked["what"],
        agent=[{"who": who, "requestor": True}],
        source={"observer": {"display": "this node"}},
        entity=[{"what": about.to("QuestionnaireResponse", "response")}],
    )
