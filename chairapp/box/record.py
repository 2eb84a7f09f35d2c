"""What the box page, the queue and the label say of one visit: signature, packing list, which label is on the box."""

import hashlib
import json
from dataclasses import dataclass
from typing import Any, Literal

from chairapp.box.code import shown
from chairapp.box.errors import NoSignature
from chairapp.box.label import Label
from chairapp.clinic import ClinicDocument, local
from chairapp.register import Words

__all__ = ["BoxRecord", "box_record", "label_for", "printed_value"]

On = Literal["none", "current", "older"]


@dataclass(frozen=True)
class BoxRecord:
    """`signature` is the latest valid one, else the latest; `on` says which label the box has."""

    code: str
    chair: str
    language: str
    opened: str
    signature: dict[str, Any] | None
    void_by: dict[str, Any] | None
    packed: tuple[str, ...]
    disinfected: str | None
    disinfected_by: str | None
    disinfected_at: str | None
    prints: tuple[dict[str, Any], ...]
    content: str
    """Names what a label of this record says; kept with every print."""
    on: On

    @property
    def signed(self) -> bool:
        return self.signature is not None and bool(self.signature["valid"])


def box_record(view: dict[str, Any], words: Words) -> BoxRecord:
    """From a visit's state (`visit_state`) and the words of its language."""
    state = view["state"]
    opened, signature = state["opened"], _clinical_signature(state["signatures"])
    packed = tuple(words(f"choice.packing.items.{item}").lower() for item in _value(state, "packing.items") or [])
    disinfected = _disinfection(state, words)
    agent = state["items"].get("packing.agent") or {}
    prints = tuple(event for event in state["events"] if _is_label(event))
    content = _content(state, signature)
    return BoxRecord(
        code=opened["box"],
        chair=opened["chair"],
        language=opened["language"],
        opened=opened["at"],
        signature=signature,
        void_by=signature["void_by"] if signature else None,
        packed=packed,
        disinfected=disinfected,
        disinfected_by=agent.get("author") if disinfected else None,
        disinfected_at=agent.get("at") if disinfected else None,
        prints=prints,
        content=content,
        on=_on_the_box(prints, signature, content),
    )


def label_for(record: BoxRecord, address: str, clinic: ClinicDocument) -> Label:
    """The label of this record. Raises NoSignature when there is no valid one to stand for it."""
    if record.signature is None:
        raise NoSignature(f"box {shown(record.code)}: the visit is not signed, a label needs a valid signature")
    if not record.signature["valid"]:
        raise NoSignature(
            f"box {shown(record.code)}: changed after signing, a label needs a valid signature: sign again"
        )
    return Label(
        code=record.code,
        address=address,
        date=local(record.signature["at"], clinic).date().isoformat(),
        chair=record.chair,
        packed=record.packed,
        disinfected=record.disinfected,
        digest=record.signature["digest"],
        language=record.language,
    )


def printed_value(record: BoxRecord, reason: str | None = None) -> dict[str, Any]:
    """The value of the `printed` entry for a label of this record as it stands."""
    assert record.signature is not None  # noqa: S101 - label_for refused it before
    return {
        "what": "label",
        "digest": record.signature["digest"],
        "content": record.content,
        "reason": reason,
    }


def _clinical_signature(signatures: list[dict[str, Any]]) -> dict[str, Any] | None:
    """The latest valid one; without any the latest, which says what voided it."""
    valid = [signature for signature in signatures if signature["valid"]]
    known = valid or signatures
    return known[-1] if known else None


def _value(state: dict[str, Any], item: str) -> Any:
    row = state["items"].get(item)
    return row["value"] if row else None


def _disinfection(state: dict[str, Any], words: Words) -> str | None:
    agent, minutes = _value(state, "packing.agent"), _value(state, "packing.minutes")
    if agent is None or minutes is None:
        return None
    return f"{words(f'choice.packing.agent.{agent}').lower()}, {minutes:g} {words('unit.min')}"


def _is_label(event: dict[str, Any]) -> bool:
    return event["kind"] == "printed" and isinstance(event["value"], dict) and event["value"].get("what") == "label"


def _content(state: dict[str, Any], signature: dict[str, Any] | None) -> str:
    """When this changes, labels already printed are of an older record."""
    packing = [_value(state, item) for item in ("packing.items", "packing.agent", "packing.minutes")]
    said = json.dumps([signature["digest"] if signature else None, *packing])
    return hashlib.sha256(said.encode()).hexdigest()[:16]


def _on_the_box(prints: tuple[dict[str, Any], ...], signature: dict[str, Any] | None, content: str) -> On:
    if not prints:
        return "none"
    last = prints[-1]["value"]
    if (
        signature
        and signature["valid"]
        and last.get("digest") == signature["digest"]
        and last.get("content") == content
    ):
        return "current"
    return "older"
