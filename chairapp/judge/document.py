"""Is a sequence document whole? Asked once for each document, so that judging itself need not ask."""

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
# The rows of its tables, with what they must hold.
_TABLES: Doc = {
    "disturbs": {"stale": list},
    "rounds": {"item": str, "starts": list},
    "caps": {"item": str, "values": list, "steps": list},
}


def check_document(sequence: Doc) -> None:
    """Raises InputError naming the part of a sequence that is missing or of the wrong shape."""
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
    for part in _TABLES:
        for row in sequence[part]:
            _check_row(part, row)
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


def _check_row(part: str, row: Doc) -> None:
    fields: dict[str, type] = _TABLES[part]
    for field in fields:
        if not isinstance(row, dict) or not isinstance(row.get(field), fields[field]):
            _refuse(part)


def check_known(items: Doc) -> None:
    """Raises InputError for an item the judge looks up by name and that is not there, or is of another kind."""
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
