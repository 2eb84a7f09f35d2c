"""The other tables: a visit in one row, what was changed, what was accepted, who signed."""

from collections.abc import Iterator
from typing import Any

from chairapp.clinic import local
from chairapp.export.answers import box_code
from chairapp.export.source import Visit
from chairapp.visit import is_signed, movements, wanted
from sync.entry import time_text

__all__ = [
    "ACCEPTANCES",
    "ADJUSTMENTS",
    "SIGNATURES",
    "VISITS",
    "acceptances",
    "adjustments",
    "signatures",
    "visit_row",
]

Doc = dict[str, Any]
Row = dict[str, Any]

STEPS = (
    "seating",
    "existing",
    "bench",
    "lip",
    "display",
    "plane",
    "lower",
    "contact",
    "vertical",
    "overjet",
    "bases",
    "marks",
    "record",
    "packing",
)
VISITS = (
    "visit",
    "box_code",
    "opened",
    "opened_day",
    "opened_by",
    "opened_by_name",
    "chair",
    "language",
    "sequence",
    "sequence_digest",
    "entries",
    "last_entry",
    "last_received",
    "judged",
    "ready_for_record",
    "signed",
    "changed_after_signing",
    "signed_at",
    "signed_by",
    "signed_by_name",
    "record_digest",
    *(f"verdict_{step}" for step in STEPS),
    "interocclusal_distance",
    "interocclusal_distance_low",
    "interocclusal_distance_high",
    "ovd_change",
    "plane_front",
    "plane_right",
    "plane_left",
    "adjustments",
    "acceptances",
    "labels_printed",
    "prescriptions_made",
    "box_is_at",
    "box_moved_at",
    "box_wanted",
    "tried_in_at",
    "tried_in_repeat",
    "tried_in_why",
)
ADJUSTMENTS = (
    "visit",
    "box_code",
    "entry",
    "at",
    "author",
    "author_name",
    "rim",
    "surface",
    "station",
    "mm",
    "taken_back",
)
ACCEPTANCES = ("visit", "box_code", "entry", "at", "author", "author_name", "step", "reason", "findings", "holds")
SIGNATURES = (
    "visit",
    "box_code",
    "entry",
    "at",
    "author",
    "author_name",
    "role",
    "digest",
    "holds",
    "void_by",
    "void_by_kind",
    "void_by_item",
    "void_by_author",
    "void_by_at",
)


def visit_row(visit: Visit) -> Row:
    return _arrival(visit) | _judged(visit) | _box(visit)


def adjustments(visit: Visit) -> Iterator[Row]:
    """One row a station that wax was added to (+) or taken off (-), or a base relieved at."""
    for change in _state(visit).get("adjustments", []):
        for station, mm in change["stations"].items():
            told = {"rim": change["rim"], "surface": change["surface"], "station": station, "mm": mm}
            yield _by(visit, change) | told | {"taken_back": change["withdrawn"]}


def acceptances(visit: Visit) -> Iterator[Row]:
    """The latest acceptance of each step; `findings` are the codes that it accepts, with their values."""
    if visit.view is None:
        return
    for step, accepted in _state(visit)["acceptances"].items():
        codes = "; ".join(f"{code} {value}" if value is not None else code for code, value in accepted["codes"])
        holds = visit.view["verdict"]["steps"][step]["acceptance"]["holds"]
        told = {"step": step, "reason": accepted["reason"], "findings": codes, "holds": holds}
        yield _by(visit, accepted) | told


def signatures(visit: Visit) -> Iterator[Row]:
    for signature in _state(visit).get("signatures", []):
        by = signature["void_by"] or {}
        void = {f"void_by_{name}": by.get(name) for name in ("kind", "item", "author", "at")}
        told = {"role": signature["role"], "digest": signature["digest"], "holds": signature["valid"]}
        yield _by(visit, signature) | told | {"void_by": by.get("id")} | void


def _arrival(visit: Visit) -> Row:
    opened = visit.opened
    value = opened["value"] if opened else {}
    clinic = visit.source.clinic
    return {
        "visit": visit.id,
        "box_code": box_code(visit),
        "opened": opened and opened["at"],
        "opened_day": opened and (local(opened["at"], clinic).date().isoformat() if clinic else opened["at"][:10]),
        "opened_by": opened and opened["author"],
        "opened_by_name": visit.source.people.get(opened["author"]) if opened else None,
        "chair": value.get("chair"),
        "language": value.get("language"),
        "sequence": value.get("sequence"),
        "sequence_digest": value.get("digest"),
        "entries": len(visit.entries),
        "last_entry": max(entry["at"] for entry in visit.entries),
        "last_received": time_text(max(arrived.received for arrived in visit.arrived.values())),
        "judged": visit.trouble or "yes",
    }


def _judged(visit: Visit) -> Row:
    if visit.view is None:
        return {}
    state, verdict = visit.view["state"], visit.view["verdict"]
    steps, derived = verdict["steps"], verdict["derived"]
    distance = derived.get("interocclusal_distance") or {}
    return {
        "ready_for_record": verdict["ready"],
        **_signed(visit, state),
        **{f"verdict_{step}": steps[step]["verdict"] for step in STEPS if step in steps},
        "interocclusal_distance": distance.get("value"),
        "interocclusal_distance_low": distance.get("low"),
        "interocclusal_distance_high": distance.get("high"),
        "ovd_change": _number(derived.get("ovd_change")),
        **{name: _number(derived.get(name)) for name in ("plane_front", "plane_right", "plane_left")},
        "adjustments": sum(not change["withdrawn"] for change in state["adjustments"]),
        "acceptances": sum(bool(step["acceptance"] and step["acceptance"]["holds"]) for step in steps.values()),
    }


def _signed(visit: Visit, state: Doc) -> Row:
    valid = [signature for signature in state["signatures"] if signature["valid"]]
    last = (valid or state["signatures"] or [None])[-1]
    return {
        "signed": is_signed(state),
        "changed_after_signing": bool(state["signatures"]) and not valid,
        "signed_at": last and last["at"],
        "signed_by": last and last["author"],
        "signed_by_name": visit.source.people.get(last["author"]) if last else None,
        "record_digest": last and last["digest"],
    }


def _box(visit: Visit) -> Row:
    moved, entries = movements(visit.entries), visit.entries
    printed = [_value(entry).get("what", "label") for entry in entries if entry["kind"] == "printed"]
    tried = [entry for entry in entries if entry["kind"] == "outcome" and "repeat" in _value(entry)]
    outcome = _value(tried[-1]) if tried else {}
    return {
        "labels_printed": printed.count("label"),
        "prescriptions_made": printed.count("prescription"),
        "box_is_at": moved[-1]["value"]["to"] if moved else None,
        "box_moved_at": moved[-1]["at"] if moved else None,
        "box_wanted": wanted(entries),
        "tried_in_at": tried[-1]["at"] if tried else None,
        "tried_in_repeat": outcome.get("repeat"),
        "tried_in_why": outcome.get("why") or None,
    }


def _state(visit: Visit) -> Doc:
    return visit.view["state"] if visit.view else {}


def _value(entry: Doc) -> Doc:
    return entry["value"] if isinstance(entry["value"], dict) else {}


def _number(derived: Any) -> float | None:
    """A derived value is a number, or {"value", ...}, or null."""
    found: float | None = derived["value"] if isinstance(derived, dict) else derived
    return found


def _by(visit: Visit, row: Doc) -> Row:
    name = visit.source.people.get(row["author"])
    made = {"entry": row["id"], "at": row["at"], "author": row["author"], "author_name": name}
    return {"visit": visit.id, "box_code": box_code(visit)} | made
