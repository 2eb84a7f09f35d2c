"""The settings of a clinic as a form: what set-up asks first, and what the manager changes later."""

import re
from collections.abc import Mapping
from typing import Any
from zoneinfo import available_timezones

from markupsafe import Markup

from chairapp.clinic import ClinicDocument, ClinicError, clinic_document
from chairapp.people.form import Form

__all__ = ["LANGUAGES", "clinic_fields", "settings_in", "typed_of"]

LANGUAGES = {"en": "English", "de": "Deutsch", "es": "Español", "fr": "Français", "pt": "Português"}
_ADDRESS = re.compile(r"[A-Za-z0-9.-]+(?::\d{1,5})?")
_FAULTS = {
    "clinic": "Name of the clinic: write it, up to 120 characters.",
    "time_zone": "Time zone: choose one from the list, such as Europe/Lisbon.",
    "label_address": "Address on labels: write a host name, with :PORT where it needs one.",
    "languages": "Languages: choose one or more.",
    "chairs": "Chairs: write at least one, each on a line of its own, up to 120 characters.",
    "prescription_fields": "Further lines of a prescription: at most 12, each up to 120 characters.",
}


def clinic_fields(form: Form, languages: list[str]) -> Markup:
    """`languages` are those the program has texts in."""
    zones = Markup("").join(Markup('<option value="{}">').format(zone) for zone in sorted(available_timezones()))
    return Markup('{}{}<datalist id="zones">{}</datalist>{}{}{}').format(
        form.text("clinic", "Name of the clinic", more=Markup('autocomplete="organization"')),
        form.text("time_zone", "Time zone", "Times are shown in it.", more=Markup('list="zones" autocomplete="off"')),
        zones,
        form.lines("chairs", "Chairs", "Each on a line of its own, also a bag for visits outside."),
        form.text(
            "label_address",
            "Address on labels",
            "Host that the symbol on a label leads to. Of one that is longer than 16 characters the symbol holds the "
            "box code alone.",
            more=Markup('autocomplete="off"'),
        ),
        _languages(form, languages),
    )


def settings_in(form: Form, like: ClinicDocument) -> dict[str, Any]:
    """The settings that were typed; what is wrong is noted in the form. `like` lends whatever else a document needs."""
    typed = form.typed
    found: dict[str, Any] = {
        "clinic": typed.get("clinic", ""),
        "time_zone": typed.get("time_zone", ""),
        "label_address": typed.get("label_address", ""),
        "chairs": _lines(typed, "chairs"),
        "languages": _lines(typed, "languages"),
    }
    if "prescription_fields" in typed:
        found["prescription_fields"] = _lines(typed, "prescription_fields")
    for name, value in found.items():
        if name == "label_address" and not _ADDRESS.fullmatch(value):
            form.faults[name] = _FAULTS[name]
        try:
            clinic_document({**like.model_dump(mode="json"), name: value}, "form")
        except ClinicError:
            form.faults[name] = _FAULTS[name]
    return found


def typed_of(document: ClinicDocument) -> dict[str, str]:
    """The document as its form shows it."""
    raw = document.model_dump(mode="json")
    lists = {name: "\n".join(raw[name]) for name in ("chairs", "languages", "prescription_fields")}
    return {name: raw[name] for name in ("clinic", "time_zone", "label_address")} | lists


def _lines(typed: Mapping[str, str], name: str) -> list[str]:
    return [line.strip() for line in typed.get(name, "").split("\n") if line.strip()]


def _languages(form: Form, languages: list[str]) -> Markup:
    if len(languages) == 1:
        return Markup('<input type="hidden" name="languages" value="{}">').format(languages[0])
    chosen = _lines(form.typed, "languages")
    boxes = Markup("").join(
        Markup(
            '<label class="tm-button tm-choice"><input type="checkbox" name="languages" '
            'value="{}"{}><span>{}</span></label>'
        ).format(name, Markup(" checked") if name in chosen else "", LANGUAGES.get(name, name))
        for name in languages
    )
    return Markup(
        '<fieldset class="tm-question"><legend>Languages</legend><div class="tm-pairs">{}</div></fieldset>'
    ).format(boxes)
