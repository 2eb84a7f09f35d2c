"""A school's own numbers: a TOML file over the program's sequence gives a document of its own, with its own digest.

    [items."display.rest"]
    band = [0, 3]                   # [lowest, highest] that fits; inf leaves a side open
    tolerated = [-1, 4]             # outside band but inside this: unsure
    spread = 1.5                    # greatest difference of the latest three readings
    needed = 2                      # readings wanted, at least the program's own number
    required = true
    [bands]
    interocclusal_distance = [2, 5]
    [settings]
    "plan.display" = 2
    [texts.en]
    "item.display.rest.hint" = "..."

It changes numbers, required flags and words, never the list or the meaning of items.
"""

import math
import re
import tomllib
from pathlib import Path
from typing import Any

from chairapp.sequence.errors import InputError
from chairapp.sequence.load import document, flat, jaw_relation
from chairapp.sequence.models import Sequence
from chairapp.sequence.words import check_text

Doc = dict[str, Any]

TABLES = ("items", "bands", "settings", "texts")
SHARES = ("contact.plane_fit", "marks.spread")
PLAN_TARGETS = {"plan.display": "display.rest", "plan.tilt": "plane.front"}
SETTING_MAX = 100
NEEDED_MAX = 10


def load_override(path: str | Path) -> Doc:
    """The sequence document that the TOML file at `path` makes. Raises InputError, which names the file."""
    try:
        text = Path(path).read_text("utf-8")
    except (OSError, ValueError) as error:
        why = "it is not UTF-8" if isinstance(error, UnicodeDecodeError) else "it cannot be read"
        raise InputError("file", why, "check the path", str(path)) from None
    try:
        return override_of(text)
    except InputError as error:
        raise error.within(str(path)) from None


def override_of(text: str) -> Doc:
    """The sequence document that this TOML text makes. Raises InputError naming the key."""
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError("file", f"this is not TOML: {error}", "correct it there") from None
    for name, table in tables.items():
        if name not in TABLES or not isinstance(table, dict):
            raise InputError(name, "an override has no such table", f"use only the tables {', '.join(TABLES)}")
    changed = document(jaw_relation())
    _change_items(changed, flat(tables.get("items", {})))
    _change_bands(changed, flat(tables.get("bands", {})))
    _change_settings(changed, flat(tables.get("settings", {})))
    _change_texts(changed, tables.get("texts", {}))
    _check_targets(changed)
    return document(Sequence.model_validate(changed))


# ---- items


def _change_items(doc: Doc, changes: Doc) -> None:
    items = {item["id"]: item for step in doc["steps"] for item in step["items"]}
    touched = []
    for key, value in changes.items():
        name, _, field = key.rpartition(".")
        item, where = items.get(name), f"items.{key}"
        if item is None:
            raise InputError(where, f"'{name}' is no item of this sequence", "use an item id such as display.rest")
        if field not in _FIELDS:
            raise InputError(where, f"an override cannot change '{field}'", f"change only {', '.join(_FIELDS)}")
        _FIELDS[field](item, value, where)
        touched.append(item)
    for item in touched:
        _check_tolerated(item)


def _set_band(item: Doc, value: Any, where: str) -> None:
    _need_old(item, "band", where)
    if item["id"] == "contact.gap":
        raise InputError(where, "contact is even at 0 only", "leave it out")
    item["band"] = _band(value, item["possible"], where)


def _set_tolerated(item: Doc, value: Any, where: str) -> None:
    _need_old(item, "band", where)
    item["tolerated"] = _band(value, item["possible"], where)


def _set_spread(item: Doc, value: Any, where: str) -> None:
    _need_old(item, "spread", where)
    if _number(value, where) <= 0:
        raise InputError(where, "a spread is more than 0", "give a number above 0")
    item["spread"] = float(value)


def _set_needed(item: Doc, value: Any, where: str) -> None:
    """More readings than the program wants, never fewer: the means and their intervals are built on those."""
    if item["kind"] != "reading":
        raise InputError(where, f"{item['id']} is not read several times", "leave it out")
    least = item["needed"]
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= NEEDED_MAX:
        raise InputError(where, f"{value!r} is not a number of readings", f"give {least} to {NEEDED_MAX}")
    item["needed"] = value


def _set_start(item: Doc, value: Any, where: str) -> None:
    _need_old(item, "start", where)
    low, high = item["possible"]
    if not low <= _number(value, where) <= high:
        raise InputError(where, f"{value} is not possible, outside {low:g} to {high:g}", "give a possible number")
    item["start"] = float(value)


def _set_required(item: Doc, value: Any, where: str) -> None:
    if not isinstance(value, bool):
        raise InputError(where, "it is neither true nor false", "write true or false")
    item["required"] = value
    item["guidance"] = item["guidance"] and not value


_FIELDS = {
    "band": _set_band,
    "tolerated": _set_tolerated,
    "spread": _set_spread,
    "needed": _set_needed,
    "start": _set_start,
    "required": _set_required,
}


def _need_old(item: Doc, field: str, where: str) -> None:
    if item[field] is None:
        raise InputError(where, f"{item['id']} has no {field} to change", "leave it out")


def _check_tolerated(item: Doc) -> None:
    """What is tolerated is never narrower than what fits."""
    if item["tolerated"] is None:
        return
    (low, high), (wide_low, wide_high) = _open(item["band"]), _open(item["tolerated"])
    if wide_low > low or wide_high < high:
        where = f"items.{item['id']}.tolerated"
        raise InputError(where, "what is tolerated lies inside what fits", "make tolerated at least as wide as band")


# ---- numbers


def _change_bands(doc: Doc, changes: Doc) -> None:
    for name, value in changes.items():
        where = f"bands.{name}"
        if name not in doc["bands"]:
            raise InputError(where, "there is no such derived value", f"use one of {', '.join(doc['bands'])}")
        doc["bands"][name] = _band(value, [-SETTING_MAX, SETTING_MAX], where)


def _change_settings(doc: Doc, changes: Doc) -> None:
    for name, value in changes.items():
        where = f"settings.{name}"
        if name not in doc["settings"]:
            raise InputError(where, "there is no such setting", f"use one of {', '.join(doc['settings'])}")
        low, high = _limits_of(name)
        if not low <= _number(value, where) <= high:
            raise InputError(where, f"{value} is outside {low:g} to {high:g}", "give a number in between")
        doc["settings"][name] = float(value)


def _limits_of(setting: str) -> tuple[float, float]:
    if setting.startswith("hinge."):
        return 0.3, 1.5
    if setting in SHARES:
        return 0, 1
    if setting == "plan.shown_step":
        return 0.1, 2
    return 0, SETTING_MAX


def _check_targets(doc: Doc) -> None:
    """The wax plan must aim at what fits."""
    bands = {item["id"]: item["band"] for step in doc["steps"] for item in step["items"]}
    aims = [(setting, bands[item]) for setting, item in PLAN_TARGETS.items()]
    for setting, band in [*aims, ("plan.distance", doc["bands"]["interocclusal_distance"])]:
        low, high = _open(band)
        if not low <= doc["settings"][setting] <= high:
            why = f"the wax plan would aim at {doc['settings'][setting]:g}, outside the band {low:g} to {high:g}"
            raise InputError(f"settings.{setting}", why, f"set {setting} inside the band")


def _band(value: Any, possible: list[float], where: str) -> list[float | None]:
    """[lowest, highest], an infinite side as None."""
    if not isinstance(value, list) or len(value) != 2:
        raise InputError(where, "it is not [lowest, highest]", "give two numbers; inf leaves a side open")
    low, high = (_number(limit, where, open_side=True) for limit in value)
    if low > high:
        raise InputError(where, f"{low:g} to {high:g} is the wrong way round", "give the lowest first")
    least, most = possible
    for limit in (low, high):
        if not math.isinf(limit) and not least <= limit <= most:
            raise InputError(
                where, f"{limit:g} is not possible, outside {least:g} to {most:g}", "give a possible limit"
            )
    return [None if math.isinf(limit) else limit for limit in (low, high)]


def _number(value: Any, where: str, open_side: bool = False) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or math.isnan(value):
        raise InputError(where, f"{value!r} is not a number", "give a number without quotes")
    if math.isinf(value) and not open_side:
        raise InputError(where, "it has to end somewhere", "give an ordinary number")
    return float(value)


def _open(band: list[float | None]) -> tuple[float, float]:
    low, high = band
    return -math.inf if low is None else low, math.inf if high is None else high


# ---- texts


def _change_texts(doc: Doc, languages: Doc) -> None:
    for language, table in languages.items():
        if not re.fullmatch(r"[a-z]{2,3}(-[A-Za-z0-9]{2,8})*", language) or not isinstance(table, dict):
            raise InputError(f"texts.{language}", "this is no language tag", "write one such as en or pt-PT")
        texts = doc["texts"].setdefault(language, {})
        for key, value in flat(table).items():
            check_text(doc, key, value, f"texts.{language}.{key}")
            texts[key] = value
