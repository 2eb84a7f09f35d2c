"""Findings and plans in words: one sentence of what it means, one of what to do, and where that is known from.

Texts come from the document's own catalogue, so a translation or a school's own words are data. English stands in for a
missing key. Runs on the server and in the browser: plain functions over dicts, lists, numbers and strings.

**Keys.** The codes, their params and levels are those of chairapp/judge/codes.py. Each code has `finding.CODE` and
`advice.CODE` and may have `source.CODE`. The value, a param or the level picks a wording of its own where there is one:
`finding.display_again.past` (a param reads "past"), `advice.tilt_front.unsure` (the level), `advice.close.none` (a
param is null).

**Placeholders.** Every param by its name, and {label} (the item's), {value}, {size} (the value without its sign),
{shown} (the value in steps of the wax plan), {unit} (brings its space: "{value}{unit}"), {low}, {high} (limits of the
band), {band} ("1 to 2"), {answer} (a choice as on its button).
"""

from chairapp.judge.numbers import number_text, to_step
from chairapp.judge.shapes import Doc, Value

SIDES = {
    "right": ["canine_right", "premolar_right", "molar_right"],
    "left": ["canine_left", "premolar_left", "molar_left"],
}
BACKS = {
    "back_right": ["premolar_right", "molar_right"],
    "back_left": ["premolar_left", "molar_left"],
}
# Sets of stations with a name of their own, the widest first.
GROUPS = [
    ("all", ["front", *SIDES["right"], *SIDES["left"]]),
    ("back", [*BACKS["back_right"], *BACKS["back_left"]]),
    ("right", SIDES["right"]),
    ("left", SIDES["left"]),
    ("front_canines", ["front", "canine_right", "canine_left"]),
    ("canines", ["canine_right", "canine_left"]),
    ("premolars", ["premolar_right", "premolar_left"]),
    ("molars", ["molar_right", "molar_left"]),
    ("back_right", BACKS["back_right"]),
    ("back_left", BACKS["back_left"]),
]

# Params whose text is a word of the catalogue: `KIND.TEXT`.
KINDS = {"side": "side", "lower": "side", "rim": "rim", "surface": "surface"}


def say(sequence: Doc, finding: Doc, language: str) -> Doc:
    """The finding in words: {"text", "advice", "source"}, source "" where none is named.

    A code this document has no words for (a newer judge, an older document) is said as its bare code, never dropped.
    """
    params = _params(sequence, finding, language)
    said = {}
    for part, kind in (("text", "finding"), ("advice", "advice"), ("source", "source")):
        key = _wording(sequence, kind + "." + finding["code"], finding)
        said[part] = text(sequence, language, key, params)
    said["text"] = sentence(said["text"]) or finding["code"]
    return said


def text(sequence: Doc, language: str, key: str, params: Doc) -> str:
    """The catalogue's text for the key with its {params} filled in; English if the language lacks it, else ""."""
    texts = sequence["texts"]
    # asked with `in`: in the browser a `get` of what is not there costs twenty times as much
    if language in texts and key in texts[language]:
        return _filled(texts[language][key], params)
    return _filled(texts["en"][key], params) if key in texts["en"] else ""


def label(sequence: Doc, language: str, item: str) -> str:
    """The item's short name; its id where there is none."""
    return text(sequence, language, "item." + item + ".label", {}) or item


def choice(sequence: Doc, language: str, item: str, value: str) -> str:
    """A choice as on its button: `choice.ITEM.VALUE`, else `choice.VALUE`, else the bare value."""
    for key in ("choice." + item + "." + value, "choice." + value):
        found = text(sequence, language, key, {})
        if found:
            return found
    return value


def places(sequence: Doc, language: str, where: list[str]) -> str:
    """Stations or sides inside a sentence, as a technician would say them: "the front and the molars of both sides"."""
    left = list(where)
    names = []
    for key, group in GROUPS:
        if left and not [station for station in group if station not in left]:
            names.append(text(sequence, language, "places." + key, {}))
            left = [station for station in left if station not in group]
    single = [text(sequence, language, "place." + place, {}) or place for place in left]
    return listed(sequence, language, single + names)


def number(sequence: Doc, language: str, x: Value) -> str:
    """A number as the language writes it: number_text with the catalogue's decimal mark."""
    return pointed(sequence, language, number_text(x))


def pointed(sequence: Doc, language: str, digits: str) -> str:
    """Digits with the decimal mark of the language; a point by a document that names none."""
    return digits.replace(".", text(sequence, language, "number.point", {}) or ".")


def listed(sequence: Doc, language: str, names: list[str]) -> str:
    """Names strung together: "a, b and c"."""
    if len(names) < 2:
        return names[0] if names else ""
    comma, last = text(sequence, language, "list.comma", {}), text(sequence, language, "list.and", {})
    return comma.join(names[:-1]) + last + names[-1]


def sentence(words: str) -> str:
    """The words with a capital first letter."""
    return words[:1].upper() + words[1:]


def _wording(sequence: Doc, key: str, finding: Doc) -> str:
    """The key of the wording that this finding's value, params or level picks, else the plain key."""
    params = finding["params"]
    for picks in [finding["value"], *[params[name] for name in params], finding["level"]]:
        word = "none" if picks is None else picks
        if isinstance(word, str) and key + "." + word in sequence["texts"]["en"]:
            return key + "." + word
    return key


def _params(sequence: Doc, finding: Doc, language: str) -> Doc:
    """All placeholders of a finding's texts, as words."""
    item, value = finding["item"], finding["value"]
    said = {
        "label": label(sequence, language, item) if item else "",
        "value": "",
        "size": "",
        "shown": "",
        "answer": "",
        "stands": "",
    }
    said["unit"] = text(sequence, language, "after." + finding["unit"], {}) if finding["unit"] else ""
    if isinstance(value, str):
        said["value"] = said["answer"] = choice(sequence, language, item or "", value)
    elif value is not None:
        said["value"], said["size"] = number(sequence, language, value), number(sequence, language, abs(value))
        said["shown"] = number(sequence, language, to_step(value, sequence["settings"]["plan.shown_step"]))
    _add_band(sequence, language, finding["band"] or [None, None], said)
    for name in finding["params"]:
        said[name] = _word(sequence, language, name, finding["params"][name])
    if said["stands"]:
        said["stands"] = choice(sequence, language, item, said["stands"])
    return said


def _add_band(sequence: Doc, language: str, band: list[Value], said: Doc) -> None:
    low, high = band
    said["low"] = "" if low is None else number(sequence, language, low)
    said["high"] = "" if high is None else number(sequence, language, high)
    shape = "most" if low is None else "least" if high is None else "between"
    said["band"] = text(sequence, language, "band." + shape, said)


def _word(sequence: Doc, language: str, name: str, value: Value) -> str:
    """One param in words, by its name."""
    if value is None:
        return ""
    if isinstance(value, list):
        return _words(sequence, language, name, value)
    if not isinstance(value, str):
        return number(sequence, language, abs(value) if name == "mm_over_rim" else value)
    if name == "cause":
        return label(sequence, language, value)
    if name == "at":
        return value[11:16] + " UTC"
    if name not in KINDS:
        return value
    return text(sequence, language, KINDS[name] + "." + value, {}) or value


def _words(sequence: Doc, language: str, name: str, values: list[Value]) -> str:
    """A list among the params in words."""
    if name == "where":
        return places(sequence, language, values)
    if name == "items":
        return listed(sequence, language, [label(sequence, language, item) for item in values])
    if name == "signs":
        return listed(sequence, language, [text(sequence, language, "sign." + sign, {}) or sign for sign in values])
    said = [value if isinstance(value, str) else number(sequence, language, value) for value in values]
    return listed(sequence, language, said)


def _filled(template: str, params: Doc) -> str:
    """The template with each {name} replaced; what is put in is not looked at again."""
    if "{" not in template:
        return template
    parts = template.split("{")
    filled = parts.pop(0)
    for part in parts:
        pieces = part.split("}", 1)
        known = len(pieces) == 2 and pieces[0] in params
        filled += params[pieces[0]] + pieces[1] if known else "{" + part
    return filled
