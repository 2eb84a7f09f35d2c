"""The clinic document as entries on the clinic's own visit: who changed what, when.

One entry of kind `clinic` says the settings whole (item "settings") or one person whole (item "person.ID"); of each
item the newest is in force. People are never taken out: who left is no longer active, and their id stays theirs.
"""

import re
import threading
import unicodedata
from collections.abc import Callable, Iterable
from typing import Any, NamedTuple

from chairapp.clinic import ClinicDocument, Person, clinic_document
from chairapp.people.errors import LastManager, NobodyHere
from sync.entry import Entry, in_order

__all__ = ["KIND", "SETTINGS", "Change", "ClinicBook", "changes_in", "new_id"]

KIND = "clinic"
SETTINGS = (
    "clinic",
    "time_zone",
    "label_address",
    "languages",
    "chairs",
    "prescription_fields",
    "sequence",
    "invented",
)
_SETTINGS_ITEM = "settings"
_PERSON_ITEM = "person."
_ID_LONGEST = 40

Doc = dict[str, Any]
Write = Callable[[str, Doc, str], object]
"""Adds an entry of kind `clinic`: its item, its value, its author."""


class Change(NamedTuple):
    """One entry of kind `clinic`. `person` is a staff id, "" for the settings; `before` is None for the first one."""

    at: str
    author: str
    person: str
    before: Doc | None
    after: Doc


class ClinicBook:
    """Of a clinic server. `entries` gives those of the clinic's own visit, `keep` is given each new document.

    `own` is what this server itself adds: its address. Calls block.
    """

    def __init__(
        self,
        entries: Callable[[], list[Entry]],
        write: Write,
        keep: Callable[[ClinicDocument], None],
        own: Callable[[Doc], Doc],
    ) -> None:
        self._entries = entries
        self._write = write
        self._keep = keep
        self._own = own
        self._lock = threading.RLock()

    def document(self) -> ClinicDocument | None:
        """The document in force; None before the clinic was set up."""
        changes = changes_in(self._entries())
        settings = next((change.after for change in reversed(changes) if not change.person), None)
        if settings is None:
            return None
        people = {change.person: {"id": change.person, **change.after} for change in changes if change.person}
        raw = {**settings, "version": len(changes), "staff": [*people.values()]}
        return clinic_document({**raw, **self._own(raw)}, "the clinic's own entries")

    def refresh(self) -> None:
        """Hand on what another server of this clinic may have changed."""
        if document := self.document():
            self._keep(document)

    def begin(self, document: ClinicDocument, author: str) -> None:
        """Enter a whole document: at set-up, or one that was kept before there were entries of it."""
        with self._lock:
            for person in document.staff:
                self._write(_PERSON_ITEM + person.id, _person_value(person), author)
            self._write(_SETTINGS_ITEM, document.model_dump(mode="json", include=set(SETTINGS)), author)
            self.refresh()

    def set_settings(self, changed: Doc, author: str) -> None:
        """Change some of SETTINGS. Raises ClinicError for a value that cannot be meant, with nothing written."""
        with self._lock:
            raw = self._in_force().model_dump(mode="json")
            wanted = clinic_document(raw | changed, "the clinic")
            value = wanted.model_dump(mode="json", include=set(SETTINGS))
            if value != {name: raw[name] for name in SETTINGS}:
                self._write(_SETTINGS_ITEM, value, author)
                self.refresh()

    def put_person(self, person: Person, author: str) -> None:
        """Add somebody, or change them. Raises LastManager when nobody could manage the clinic any more."""
        with self._lock:
            document = self._in_force()
            others = [known for known in document.staff if known.id != person.id]
            if not any(known.role == "manager" and known.active for known in [*others, person]):
                raise LastManager("The clinic needs a manager, and this is the only one.", field="role")
            if document.person(person.id) != person:
                self._write(_PERSON_ITEM + person.id, _person_value(person), author)
                self.refresh()

    def person(self, id: str) -> Person:
        """Raises NobodyHere."""
        found = self._in_force().person(id)
        if found is None:
            raise NobodyHere("The clinic does not know this person.", field="person")
        return found

    def history(self) -> list[Change]:
        """Every change, the latest first."""
        return changes_in(self._entries())[::-1]

    def _in_force(self) -> ClinicDocument:
        document = self.document()
        assert document is not None  # noqa: S101 - whoever changes it was let in as one of its people
        return document


def changes_in(entries: Iterable[Entry]) -> list[Change]:
    """The changes of the clinic document among these entries, in the order in which they count."""
    latest: dict[str, Doc] = {}
    found = []
    for entry in in_order(entry for entry in entries if entry["kind"] == KIND):
        item = str(entry["item"])
        found.append(Change(entry["at"], entry["author"], _person_of(item), latest.get(item), entry["value"]))
        latest[item] = entry["value"]
    return found


def new_id(name: str, taken: Iterable[str]) -> str:
    """A staff id that reads like the name and was never anybody's: "ada-lindqvist", then "ada-lindqvist-2"."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    begin = re.sub(r"[^0-9a-z]+", "-", plain).strip("-")[:_ID_LONGEST].strip("-") or "person"
    known, id, number = {*taken}, begin, 1
    while id in known:
        number += 1
        id = f"{begin}-{number}"
    return id


def _person_of(item: str) -> str:
    return item.removeprefix(_PERSON_ITEM) if item.startswith(_PERSON_ITEM) else ""


def _person_value(person: Person) -> Doc:
    return person.model_dump(mode="json", exclude={"id"})
