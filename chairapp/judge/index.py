"""A sequence document looked up by name: its items, its steps, what belongs to what."""

from chairapp.judge.errors import InputError
from chairapp.judge.numbers import is_number
from chairapp.judge.shapes import Doc, Value

# What the judge looks up by name. A sequence retires an item; it never drops one.
_ITEMS = {
    "choice": [
        "seating.upright", "seating.glasses", "seating.points", "seating.tragus", "seating.stable", "bench.sealed",
        "bench.heel", "lip.support", "display.fv", "lower.commissure", "lower.pad_right", "lower.pad_left",
        "contact.position", "vertical.rest_bases", "vertical.s_sound", "vertical.m_rest", "vertical.face",
        "bases.closing", "bases.forward", "marks.one_position", "lines.midline", "lines.canines",
    ],
    "reading": [
        "existing.rest", "existing.occlusal", "existing.display", "lip.nasolabial", "display.rest", "plane.front",
        "plane.right", "plane.left", "vertical.rest", "vertical.occlusal", "vertical.s_space", "record.agreement",
    ],
    "number": [
        "lower.commissure_mm", "record.count", "lines.midline_shift", "teeth.curve", "teeth.bizygomatic",
        "teeth.inner_canthal",
    ],
    "stations": ["contact.gap", "overjet.gap", "marks.placed", "marks.misfit"],
}  # fmt: skip
_FIELDS = [
    "required",
    "unit",
    "pad",
    "band",
    "tolerated",
    "needed",
    "spread",
    "choices",
    "fits",
    "unsure",
    "by_eye",
    "photo",
]
_SETTINGS = [
    "contact.plane_fit", "existing.ovd_rise", "lines.shift_note", "marks.misfit", "marks.spread", "marks.turn",
    "marks.left_over", "plane.span_front", "plane.span_side", "record.advised", "vertical.too_high", "plan.display",
    "plan.tilt", "plan.distance", "plan.labial", "plan.shown_step", "plan.two_rounds", "plan.conflict",
    "plan.conflict_level", "plan.overjet",
]  # fmt: skip
_PARTS = {"steps": list, "disturbs": list, "rounds": list, "caps": list, "bands": dict, "settings": dict}
_BY_STEP = ["acceptance", "note"]
_BY_ITEM = ["answer", "reading", "check"]
_OTHERS = ["opened", "withdrawal", "adjustment", "signature", "attachment", "printed", "movement", "outcome"]


def index_of(sequence: Doc) -> Doc:
    """{"items": {id: item}, "steps": {id: step}, "step_of": {item id: step id}, "order": [step ids]}.

    Raises InputError for a sequence that lacks one of its parts.
    """
    _check(sequence)
    items: Doc = {}
    steps: Doc = {}
    step_of: Doc = {}
    for step in sequence["steps"]:
        steps[step["id"]] = step
        for item in step["items"]:
            items[item["id"]] = item
            step_of[item["id"]] = step["id"]
    _check_known(items)
    return {"items": items, "steps": steps, "step_of": step_of, "order": list(steps)}


def items_named(index: Doc, names: list[str]) -> list[str]:
    """The items meant by names of steps, of items, or of families of items (`lines` for `lines.midline` and others)."""
    found: list[str] = []
    for name in names:
        if name in index["steps"]:
            found.extend([item["id"] for item in index["steps"][name]["items"]])
        elif name in index["items"]:
            found.append(name)
        else:
            found.extend([item for item in index["items"] if item.startswith(name + ".")])
    return found


def is_known(index: Doc, entry: Doc) -> bool:
    """Does this sequence understand the entry's kind and item? What a newer tablet wrote is kept and not judged."""
    kind, item = entry["kind"], entry.get("item")
    if kind in _BY_ITEM:
        return item in index["items"]
    if kind in _BY_STEP:
        return item in index["steps"]
    if kind == "adjustment":
        return item == "wax"
    return kind in _OTHERS


def _check(sequence: Doc) -> None:
    if not isinstance(sequence, dict):
        raise InputError("sequence", "not an object.", "Give a whole sequence document.")
    for part in _PARTS:
        if not isinstance(sequence.get(part), _PARTS[part]):
            _refuse(part)
    for step in sequence["steps"]:
        if not _is_named(step) or not isinstance(step.get("items"), list):
            _refuse("steps")
        for item in step["items"]:
            _check_item(item)
    for name in _SETTINGS:
        if not is_number(sequence["settings"].get(name)):
            _refuse("settings." + name)
    if not _is_band(sequence["bands"].get("interocclusal_distance")):
        _refuse("bands.interocclusal_distance")


def _check_item(item: Doc) -> None:
    if not _is_named(item):
        _refuse("steps.items")
    for field in _FIELDS:
        if field not in item:
            _refuse(item["id"] + "." + field)
    for field in ("band", "tolerated"):
        if item[field] is not None and not _is_band(item[field]):
            _refuse(item["id"] + "." + field)


def _check_known(items: Doc) -> None:
    for kind in _ITEMS:
        for item in _ITEMS[kind]:
            if item not in items or items[item].get("kind") != kind:
                _refuse(item)


def _is_named(part: Doc) -> bool:
    return isinstance(part, dict) and isinstance(part.get("id"), str)


def _is_band(band: Value) -> bool:
    if not isinstance(band, (list, tuple)) or len(band) != 2:
        return False
    return all(limit is None or is_number(limit) for limit in band)


def _refuse(part: str) -> None:
    raise InputError("sequence." + part, "missing or of the wrong shape.", "Give a whole sequence document.")
