"""Is a sequence document whole? Asked once for each document, so that judging itself need not ask."""

from chairapp.judge.errors import InputError
from chairapp.judge.numbers import is_number
from chairapp.judge.shapes import Doc, Rows, Value

# What the judge looks up by name. A sequence retires an item; it never drops one.
_STEPS = [
    "seating", "existing", "bench", "lip", "display", "plane", "lower", "contact", "vertical", "overjet", "bases",
    "marks", "record", "packing",
]  # fmt: skip
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
_SETTINGS = [
    "contact.plane_fit", "existing.ovd_rise", "lines.shift_note", "marks.misfit", "marks.spread", "marks.turn",
    "marks.left_over", "plane.span_front", "plane.span_side", "record.advised", "vertical.too_high", "plan.display",
    "plan.tilt", "plan.distance", "plan.labial", "plan.shown_step", "plan.two_rounds", "plan.conflict",
    "plan.conflict_level", "plan.overjet",
]  # fmt: skip
# Numbers are held against the band of these, so they cannot be without one.
_BANDED = ["display.rest", "lip.nasolabial", "overjet.gap", "vertical.s_space"]
_PARTS = {"steps": list, "disturbs": list, "rounds": list, "caps": list, "bands": dict, "settings": dict}


def check_document(sequence: Doc) -> None:
    """Raises InputError naming the part of a sequence that is missing or of the wrong shape."""
    if not isinstance(sequence, dict):
        raise InputError("sequence", "not an object.", "Give a whole sequence document.")
    for part in _PARTS:
        if not isinstance(sequence.get(part), _PARTS[part]):
            _refuse(part)
    _check_steps(sequence["steps"])
    for part in _TABLES:
        for row in sequence[part]:
            _check_fields(part, row, _TABLES[part])
    _check_numbers(sequence)


def _check_steps(steps: Rows) -> None:
    names = []
    for step in steps:
        if not _is_named(step) or not isinstance(step.get("items"), list):
            _refuse("steps")
        names.append(step["id"])
        for item in step["items"]:
            if not _is_named(item):
                _refuse("steps.items")
            _check_fields(item["id"], item, _FIELDS)
    for name in _STEPS:
        if name not in names:
            _refuse("steps." + name)


def _check_fields(part: str, row: Doc, fields: Doc) -> None:
    if not isinstance(row, dict):
        _refuse(part)
    for field in fields:
        if field not in row or not fields[field](row[field]):
            _refuse(part + "." + field)


def _check_numbers(sequence: Doc) -> None:
    settings = sequence["settings"]
    for name in settings:
        if not is_number(settings[name]):
            _refuse("settings." + str(name))
    for name in _SETTINGS:
        if name not in settings:
            _refuse("settings." + name)
    # what is shown is counted in these steps
    if settings["plan.shown_step"] < 0.01:
        _refuse("settings.plan.shown_step")
    if not _is_band(sequence["bands"].get("interocclusal_distance")):
        _refuse("bands.interocclusal_distance")


def check_known(items: Doc) -> None:
    """Raises InputError for an item the judge looks up by name and that is not there, or is of another kind."""
    for kind in _ITEMS:
        for item in _ITEMS[kind]:
            if item not in items or items[item]["kind"] != kind:
                _refuse(item)
    for item in _BANDED:
        if items[item]["band"] is None:
            _refuse(item + ".band")


def _refuse(part: str) -> None:
    raise InputError("sequence." + part, "missing or of the wrong shape.", "Give a whole sequence document.")


# ---- what a field may hold


def _is_named(part: Doc) -> bool:
    return isinstance(part, dict) and isinstance(part.get("id"), str)


def _is_kind(value: Value) -> bool:
    return isinstance(value, str) and value in ("choice", "reading", "number", "stations", "text", "list")


def _is_flag(value: Value) -> bool:
    return value is True or value is False


def _is_text(value: Value) -> bool:
    return isinstance(value, str)


def _is_text_or_null(value: Value) -> bool:
    return value is None or isinstance(value, str)


def _is_number_or_null(value: Value) -> bool:
    return value is None or is_number(value)


def _is_band(value: Value) -> bool:
    return isinstance(value, (list, tuple)) and len(value) == 2 and all(_is_number_or_null(limit) for limit in value)


def _is_band_or_null(value: Value) -> bool:
    return value is None or _is_band(value)


def _is_texts(value: Value) -> bool:
    return isinstance(value, list) and all(isinstance(part, str) for part in value)


def _is_texts_by_item(value: Value) -> bool:
    return isinstance(value, dict) and all(_is_texts(value[name]) for name in value)


def _is_numbers_by_item(value: Value) -> bool:
    return isinstance(value, dict) and all(is_number(value[name]) for name in value)


_FIELDS: Doc = {
    "kind": _is_kind,
    "required": _is_flag,
    "unit": _is_text_or_null,
    "pad": _is_number_or_null,
    "band": _is_band_or_null,
    "tolerated": _is_band_or_null,
    "needed": is_number,
    "spread": _is_number_or_null,
    "choices": _is_texts,
    "fits": _is_texts,
    "unsure": _is_texts,
    "all_stations": _is_flag,
    "by_eye": _is_flag,
    "photo": _is_text_or_null,
    "unless": _is_texts_by_item,
    "required_from": _is_numbers_by_item,
    "at": _is_texts,
}
_TABLES: Doc = {
    "disturbs": {
        "rim": _is_text_or_null,
        "surface": _is_text_or_null,
        "added_only": _is_flag,
        "stale": _is_texts,
        "at_stations": _is_texts,
        "voids": _is_texts,
    },
    "rounds": {"item": _is_text, "starts": _is_texts},
    "caps": {"item": _is_text, "values": _is_texts, "steps": _is_texts},
}
