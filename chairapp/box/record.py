"""What the box page, the queue and the label say of one visit: signature, packing list, which label is on the box."""

import hashlib
import json
from dataclasses import dataclass
from typing import Any, Literal

from chairapp.box.code import shown
from chairapp.box.errors import NoSignature
from chairapp.box.label import Label
from chairapp.clinic import ClinicDocument, local
from chairapp.judge.entries import place
from chairapp.judge.numbers import number_text
from chairapp.register import Words
from chairapp.visit import is_signed, movements, wanted

__all__ = ["BoxRecord", "What", "box_record", "label_for", "printed_value", "signature_for"]

On = Literal["none", "current", "older"]
What = Literal["label", "prescription"]


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
    signed: bool
    """By a clinician, or by the supervised clinician and a supervisor, and nothing changed since."""
    moved: tuple[dict[str, Any], ...] = ()
    """The movements that stand, oldest first."""
    wanted: str | None = None
    prescribed: tuple[dict[str, Any], ...] = ()
    """Every time a prescription was made, oldest first."""
    prescription: On = "none"
    """As `on`, for the prescription that lies in the box."""
    outcome: dict[str, Any] | None = None
    """What the latest try-in showed, until the box goes to the laboratory again."""


def box_record(view: dict[str, Any], words: Words) -> BoxRecord:
    """From a visit's state (`visit_state`) and the words of its language."""
    state = view["state"]
    opened, signature = state["opened"], _clinical_signature(state["signatures"])
    packed = tuple(words(f"choice.packing.items.{item}").lower() for item in _value(state, "packing.items") or [])
    disinfected = _disinfection(state, words)
    agent = state["items"].get("packing.agent") or {}
    prints, prescribed = _printed(state, "label"), _printed(state, "prescription")
    content = _content(state, signature)
    signed = bool(is_signed(state))
    moved = tuple(movements(state["events"]))
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
        on=_on_the_box(prints, signature if signed else None, content),
        signed=signed,
        moved=moved,
        wanted=wanted(state["events"]),
        prescribed=prescribed,
        prescription=_on_the_box(prescribed, signature if signed else None, content),
        outcome=_outcome(state, moved),
    )


def label_for(record: BoxRecord, address: str, clinic: ClinicDocument) -> Label:
    """The label of this record. Raises NoSignature when there is no valid one to stand for it."""
    signature = signature_for(record, "label")
    return Label(
        code=record.code,
        address=address,
        date=local(signature["at"], clinic).date().isoformat(),
        chair=record.chair,
        packed=record.packed,
        disinfected=record.disinfected,
        digest=signature["digest"],
        language=record.language,
    )


def signature_for(record: BoxRecord, what: str) -> dict[str, Any]:
    """The signature that a label or prescription stands on. Raises NoSignature, which names the box and what lacks."""
    if record.signature is None:
        raise NoSignature(f"box {shown(record.code)}: the visit is not signed, a {what} needs a valid signature")
    if not record.signature["valid"]:
        raise NoSignature(
            f"box {shown(record.code)}: changed after signing, a {what} needs a valid signature: sign again"
        )
    if not record.signed:
        raise NoSignature(f"box {shown(record.code)}: signed once, a supervised visit needs a second signature")
    return record.signature


def printed_value(record: BoxRecord, reason: str | None = None, what: What = "label") -> dict[str, Any]:
    """The value of the `printed` entry for a label or prescription of this record as it stands."""
    assert record.signature is not None  # noqa: S101 - signature_for refused it before
    return {
        "what": what,
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
    said = number_text(minutes).replace(".", words("number.point"))
    return f"{words(f'choice.packing.agent.{agent}').lower()}, {said} {words('unit.min')}"


def _printed(state: dict[str, Any], what: What) -> tuple[dict[str, Any], ...]:
    events = [event for event in state["events"] if event["kind"] == "printed" and isinstance(event["value"], dict)]
    return tuple(event for event in events if event["value"].get("what") == what)


def _outcome(state: dict[str, Any], moved: tuple[dict[str, Any], ...]) -> dict[str, Any] | None:
    """The latest one, unless the box went to the laboratory after it: that try-in is answered by what comes back."""
    left = [event for event in moved if event["value"]["to"] == "laboratory"]
    found = [event for event in state["events"] if event["kind"] == "outcome" and "why" in (event["value"] or {})]
    latest: dict[str, Any] | None = found[-1] if found else None
    return None if latest and left and place(left[-1]) > place(latest) else latest


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
