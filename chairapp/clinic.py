"""The clinic document: what tablets and nodes have to know of the clinic. No patients, no secrets.

Kept as clinic.json beside the entries, served by GET /sync/clinic, pulled by chair nodes and tablets.
"""

import hashlib
import json
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import rfc8785
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError, field_validator

__all__ = [
    "ANYONE",
    "CLINICAL",
    "CLINIC_VISIT",
    "MANAGER",
    "STAFF",
    "ClinicDocument",
    "ClinicError",
    "Person",
    "Role",
    "Roles",
    "clinic_document",
    "digest",
    "local",
    "read_clinic",
]

Role = Literal["clinician", "supervised", "assistant", "manager"]
Roles = frozenset[Role] | None
"""Who may come in; None is anyone, also without signing in."""
ANYONE: Roles = None
STAFF: Roles = frozenset(("clinician", "supervised", "assistant", "manager"))
CLINICAL: Roles = frozenset(("clinician", "supervised"))
MANAGER: Roles = frozenset(("manager",))
CLINIC_VISIT = "00000000-0000-7000-8000-0000000000c1"
"""The visit on which the clinic keeps entries of its own: changes of this document, and the keys of its people."""
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=120)]


class ClinicError(Exception):
    """`str(error)` is one line: the file, the field, what is wrong."""


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Person(_Part):
    id: Annotated[str, StringConstraints(pattern=r"^[0-9a-z][0-9a-z-]{0,63}$")]
    name: Text
    role: Role
    licence: Annotated[str, StringConstraints(strip_whitespace=True, max_length=60)] | None = None
    active: bool = True
    """Whether this person still belongs to the clinic: who left keeps the name their entries are shown with."""


class ClinicDocument(_Part):
    version: Annotated[int, Field(ge=1)]
    clinic: Text
    time_zone: str
    label_address: Text
    """Host, with its port where it needs one, that the symbol on a label leads to."""
    address: Annotated[str, StringConstraints(max_length=200)] = ""
    """Where the clinic server itself answers: a tablet whose chair node is away may hand in there. "" if unknown."""
    languages: Annotated[list[str], Field(min_length=1)]
    chairs: Annotated[list[Text], Field(min_length=1)]
    staff: Annotated[list[Person], Field(min_length=1)]
    sequence: Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
    """Digest of the sequence new visits are opened with."""
    prescription_fields: Annotated[list[Text], Field(max_length=12)] = []
    """Labels of further lines that a prescription needs at this place, such as a registration number; by hand."""
    invented: bool = False
    """Whether clinic, people and visits are made up: every page then says so."""

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, name: str) -> str:
        try:
            ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise ValueError("no such IANA time zone, write one such as Europe/Lisbon") from None
        return name

    @field_validator("staff")
    @classmethod
    def _each_once(cls, staff: list[Person]) -> list[Person]:
        if len({person.id for person in staff}) < len(staff):
            raise ValueError("two people have the same id")
        return staff

    @property
    def present(self) -> list[Person]:
        """The staff without those who left."""
        return [person for person in self.staff if person.active]

    def person(self, id: str) -> Person | None:
        """Whoever has this id, also when they left."""
        return next((person for person in self.staff if person.id == id), None)

    def name_of(self, id: str) -> str:
        """The name behind a staff id; the id itself for somebody this document does not know."""
        person = self.person(id)
        return person.name if person else id


def clinic_document(raw: Any, source: str) -> ClinicDocument:
    """Checked; raises ClinicError naming `source` and the field."""
    try:
        return ClinicDocument.model_validate(raw)
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(part) for part in first["loc"]) or "document"
        raise ClinicError(f"{source}: {field}: {first['msg'].removeprefix('Value error, ')}") from None


def read_clinic(path: Path) -> ClinicDocument:
    """The document kept in this file; raises ClinicError."""
    try:
        raw = json.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        raise ClinicError(f"{path}: there is no clinic document yet") from None
    except ValueError:
        raise ClinicError(f"{path}: not readable as JSON") from None
    return clinic_document(raw, str(path))


def digest(document: ClinicDocument) -> str:
    """Names this very version of the document: SHA-256 over its RFC 8785 bytes, in hex."""
    return hashlib.sha256(rfc8785.dumps(document.model_dump(mode="json"))).hexdigest()


def local(at: str, document: ClinicDocument) -> datetime:
    """An entry's time (RFC 3339, UTC, Z) in the clinic's time zone."""
    return datetime.fromisoformat(at).astimezone(ZoneInfo(document.time_zone))
