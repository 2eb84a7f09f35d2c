"""What was changed of the clinic document, in words."""

from collections.abc import Iterable
from typing import Any

from markupsafe import Markup

from chairapp.clinic import ClinicDocument, local
from chairapp.people.clinic_book import Change
from chairapp.people.roles import ROLE_NAMES

__all__ = ["BY_ITSELF", "history"]

BY_ITSELF = "server"
"""Author of what a server entered by itself: a document from before there were entries, or the invented one."""

_NAMES = {
    "name": "name",
    "role": "role",
    "licence": "licence number",
    "clinic": "name",
    "time_zone": "time zone",
    "label_address": "address on labels",
    "languages": "languages",
    "chairs": "chairs",
    "prescription_fields": "further lines of a prescription",
    "sequence": "sequence",
}
_SHOWN = 100


def history(changes: Iterable[Change], clinic: ClinicDocument) -> Markup:
    """`changes` with the latest first."""
    every = [*changes]
    rows = Markup("").join(_row(change, clinic) for change in every[:_SHOWN])
    more = Markup('<p class="tm-about">{} earlier changes are in the full record.</p>').format(len(every) - _SHOWN)
    return Markup(
        '<h2>What was changed</h2><div class="tm-scroll"><table class="tm-table tm-stacked '
        'tm-log"><thead><tr><th>When</th>'
        "<th>Who</th><th>What</th></tr></thead><tbody>{}</tbody></table></div>{}"
    ).format(rows, more if len(every) > _SHOWN else "")


def _row(change: Change, clinic: ClinicDocument) -> Markup:
    who = "The server itself" if change.author == BY_ITSELF else clinic.name_of(change.author)
    return Markup("<tr><td><time>{:%Y-%m-%d %H:%M}</time></td><td>{}</td><td>{}</td></tr>").format(
        local(change.at, clinic), who, _said(change)
    )


def _said(change: Change) -> str:
    about = str(change.after.get("name")) if change.person else "The clinic"
    if change.before is None:
        return f"{about}: added, {ROLE_NAMES[change.after['role']]}" if change.person else "The clinic: set up"
    parts = [_left(change), *(_changed(name, change.before, change.after) for name in _NAMES)]
    return f"{about}: {'; '.join(part for part in parts if part)}"


def _left(change: Change) -> str:
    before, after = (change.before or {}).get("active"), change.after.get("active")
    return "" if before == after else "came back" if after else "left"


def _changed(name: str, before: dict[str, Any], after: dict[str, Any]) -> str:
    if before.get(name) == after.get(name):
        return ""
    return f"{_NAMES[name]} {_value(before.get(name))} → {_value(after.get(name))}"


def _value(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(map(str, value)) or "none"
    return ROLE_NAMES.get(value, str(value)) if value else "none"
