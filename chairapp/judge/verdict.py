"""From a settled state to the verdict of every step, the derived values, the plan, and what is left to do."""

from chairapp.judge.accept import holds, later_looks
from chairapp.judge.bases import bases
from chairapp.judge.bench import bench
from chairapp.judge.contact import contact, contact_pattern
from chairapp.judge.display import display
from chairapp.judge.existing import differences, existing, is_asked
from chairapp.judge.findings import finding, worst_first
from chairapp.judge.index import index_of
from chairapp.judge.lip import by_height, lip
from chairapp.judge.lower import lower
from chairapp.judge.marks import marks, marks_fit, marks_held
from chairapp.judge.overjet import overjet
from chairapp.judge.packing import packing
from chairapp.judge.plan import plan_of
from chairapp.judge.plane import plane, plane_values
from chairapp.judge.record import central_incisor, is_required, record
from chairapp.judge.seating import seating
from chairapp.judge.settle import settle, settled
from chairapp.judge.shapes import Doc, Rows
from chairapp.judge.vertical import interocclusal_distance, vertical

_STEPS = {
    "seating": seating,
    "existing": existing,
    "bench": bench,
    "lip": lip,
    "display": display,
    "plane": plane,
    "lower": lower,
    "contact": contact,
    "vertical": vertical,
    "overjet": overjet,
    "bases": bases,
    "marks": marks,
    "record": record,
    "packing": packing,
}
_DONE = ["fits", "accepted"]


def judge(sequence: Doc, entries: Rows) -> Doc:
    """The verdict of a visit from its entries; raises InputError and nothing else. See chairapp/judge/__init__.py."""
    return judge_state(sequence, settle(sequence, entries))


def judge_state(sequence: Doc, state: Doc) -> Doc:
    """The verdict of a visit from what `settle` gave for it."""
    index = index_of(sequence)
    visit = _visit(sequence, index, state)
    plain = {step: _plain(visit, step) for step in index["order"]}
    steps = {step: _step(visit, state, step, plain[step]) for step in index["order"]}
    steps["lip"]["findings"] = by_height(steps["lip"]["findings"], steps["vertical"]["verdict"] in _DONE)
    todo = [step for step in _before_record(index) if steps[step]["required"] and steps[step]["verdict"] not in _DONE]
    return {
        "steps": steps,
        "derived": visit["derived"],
        "plan": plan_of(visit, [step for step in index["order"] if steps[step]["verdict"] == "accepted"]),
        "ready": not todo,
        "todo": todo,
        "voids": state["voids"],
    }


def _visit(sequence: Doc, index: Doc, state: Doc) -> Doc:
    """What the steps look things up in: rows, items, steps, settings, bands, and the derived values."""
    visit: Doc = {
        "sequence": sequence,
        "index": index,
        "items": index["items"],
        "steps": index["steps"],
        "rows": state["items"],
        "settings": sequence["settings"],
        "bands": sequence["bands"],
    }
    visit["marks"] = marks_held(visit)
    visit["derived"] = {"interocclusal_distance": interocclusal_distance(visit)}
    for part in (
        differences(visit),
        plane_values(visit),
        {"contact_pattern": contact_pattern(visit), "marks_spread": visit["marks"]["spread"]},
        {"marks_fit": marks_fit(visit), "central_incisor": central_incisor(visit)},
    ):
        visit["derived"].update(part)
    return visit


def _plain(visit: Doc, step: str) -> Doc:
    """A step before any acceptance: {"verdict", "findings", "required": does it count for readiness}."""
    found: Rows = _STEPS[step](visit) if step in _STEPS else []
    required = _required(visit, step)
    found = found + _caps(visit, step) + _stale_notes(visit, required)
    return {"verdict": _verdict(visit, required, found), "findings": worst_first(found), "required": bool(required)}


def _verdict(visit: Doc, required: list[str], found: Rows) -> str:
    """First match: open, stale, off, unsure, fits."""
    statuses = [visit["rows"][item]["status"] for item in required]
    levels = [one["level"] for one in found]
    for status in ("open", "stale"):
        if status in statuses:
            return status
    for level in ("off", "unsure"):
        if level in levels:
            return level
    return "fits"


def _required(visit: Doc, step: str) -> list[str]:
    items = visit["steps"][step]["items"]
    return [item["id"] for item in items if is_required(visit, item) and is_asked(visit, item)]


def _caps(visit: Doc, step: str) -> Rows:
    """A step that would fit is unsure while another item has a value that takes away its ground."""
    found = []
    for cap in visit["sequence"]["caps"]:
        row = visit["rows"].get(cap["item"])
        holds_now = row is not None and row["fresh"] and row["value"] in cap["values"]
        # an item that caps its own step has said so itself
        if holds_now and step in cap["steps"] and visit["index"]["step_of"][cap["item"]] != step:
            found.append(finding("capped", cap["item"], "unsure", row["value"]))
    return found


def _stale_notes(visit: Doc, required: list[str]) -> Rows:
    """Why a required item must be asked again, by whom and when it was disturbed."""
    found = []
    for item in required:
        by = visit["rows"][item]["stale_by"]
        if by is not None:
            found.append(_stale_note(item, by))
    return found


def _stale_note(item: str, by: Doc) -> Doc:
    params = {"author": by["author"], "at": by["at"]}
    if by["kind"] == "adjustment":
        code = "stale_unaware" if by["unaware"] else "stale_wax"
        params.update({"rim": by["rim"], "surface": by["surface"]})
    else:
        code = "stale_answer"
        params["cause"] = by["item"]
    return finding(code, item, "note", params=params)


def _step(visit: Doc, state: Doc, step: str, plain: Doc) -> Doc:
    """The step with its acceptance: it turns off and unsure into accepted while it holds."""
    verdict, findings = plain["verdict"], plain["findings"]
    given = None
    if step in state["acceptances"]:
        acceptance = state["acceptances"][step]
        valid = _holds(visit, state, step, plain)
        given = {name: acceptance[name] for name in ("id", "author", "at", "reason")}
        given["holds"] = valid
        if valid:
            verdict = "accepted"
        elif verdict in ("off", "unsure", "stale"):
            params = {"author": acceptance["author"], "at": acceptance["at"]}
            findings = [*findings, finding("lapsed", None, "note", acceptance["reason"], params=params)]
    return {"verdict": verdict, "required": plain["required"], "findings": findings, "acceptance": given}


def _holds(visit: Doc, state: Doc, step: str, plain: Doc) -> bool:
    acceptance = state["acceptances"][step]
    now = dict(plain, unaware_of=acceptance["unaware_of"])
    if not holds([now], acceptance):
        return False
    for entries in later_looks(acceptance, visit["steps"][step], visit["sequence"], state["entries"]):
        then = settled(visit["sequence"], visit["index"], entries)
        look = _plain(_visit(visit["sequence"], visit["index"], then), step)
        look["unaware_of"] = then["acceptances"][step]["unaware_of"]
        if not holds([look], acceptance):
            return False
    return True


def _before_record(index: Doc) -> list[str]:
    """The steps that must be done before the jaw relation record."""
    order: list[str] = index["order"]
    return order[: order.index("record")] if "record" in order else order
