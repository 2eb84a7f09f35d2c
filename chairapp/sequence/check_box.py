"""Is what an entry says of the case box possible? Its movements and what the try-in showed.

Runs on the server and in the browser, as check.py does.

    movement   {"to": PLACE} · {"undoes": id of a movement} · {"wanted": "2026-12-31"} (null: no date any longer)
    outcome    {"vertical", "centric", "plane", "midline", "display": "right" or "correct", "repeat": bool, "why": text}
"""

from chairapp.judge.shapes import Doc, Value
from chairapp.sequence.values import fault_of, is_worded

PLACES = ["laboratory", "clinic", "chair", "finished"]
TRIED = ["vertical", "centric", "plane", "midline", "display"]
FOUND = ["right", "correct"]
DAYS = [31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]


def check_movement(_: Doc, entry: Doc) -> Doc | None:
    value = entry.get("value")
    if not isinstance(value, dict):
        return fault_of("value", "object", "movement", value)
    if "undoes" in value:
        undoes = value["undoes"]
        return None if is_worded(undoes) else fault_of("value.undoes", "of", "movement", undoes)
    if "wanted" in value:
        wanted = value["wanted"]
        dated = wanted is None or is_date(wanted)
        return (
            None if dated else fault_of("value.wanted", "choice", "wanted", wanted, known="a date such as 2026-12-31")
        )
    if value.get("to") in PLACES:
        return None
    return fault_of("value.to", "choice", "movement", value.get("to"), known=", ".join(PLACES))


def check_outcome(_: Doc, entry: Doc) -> Doc | None:
    value = entry.get("value")
    if not isinstance(value, dict):
        return fault_of("value", "object", "outcome", value)
    for name in TRIED:
        if value.get(name) not in FOUND:
            return fault_of("value." + name, "choice", "outcome " + name, value.get(name), known=", ".join(FOUND))
    repeat = value.get("repeat")
    if repeat is not True and repeat is not False:
        return fault_of("value.repeat", "choice", "outcome repeat", repeat, known="true, false")
    if not isinstance(value.get("why"), str):
        return fault_of("value.why", "text", "outcome why", value.get("why"))
    return None


def is_date(text: Value) -> bool:
    """Is this a day written as 2026-12-31? Years go from 2000 on."""
    parts = text.split("-") if isinstance(text, str) else []
    if [len(part) for part in parts] != [4, 2, 2] or [part for part in parts if not _all_digits(part)]:
        return False
    year, month, day = [int(part) for part in parts]
    if year < 2000 or month < 1 or month > 12 or day < 1:
        return False
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    return day <= DAYS[month - 1] and (leap or month != 2 or day < 29)


def _all_digits(part: str) -> bool:
    return not [character for character in part if character not in "0123456789"]
