"""One visit while it is put into resources: what they all need of it."""

import uuid
from typing import Any

from chairapp.export.fhir.codes import identifier, pointer, resource_id
from chairapp.export.source import Visit
from chairapp.visit import is_signed

__all__ = ["About", "organization", "practitioner", "practitioner_id"]

Doc = dict[str, Any]


class About:
    """Raises AssertionError for a visit that could not be judged: only those become resources."""

    def __init__(self, visit: Visit) -> None:
        assert visit.view  # noqa: S101 - the bundle leaves the others out
        assert visit.sequence  # noqa: S101
        assert visit.opened  # noqa: S101
        self.visit = visit
        self.id = visit.id
        self.sequence: Doc = visit.sequence
        self.opened: Doc = visit.opened
        self.entries = visit.entries
        self.state: Doc = visit.view["state"]
        self.verdict: Doc = visit.view["verdict"]
        self.items = {item["id"]: item for step in self.sequence["steps"] for item in step["items"]}
        self.signed = is_signed(self.state)
        self.was_signed = bool(self.state["signatures"])

    @property
    def box(self) -> str:
        return str(self.opened["value"]["box"])

    def made(self, kind: str, name: str, **elements: Any) -> Doc:
        """A resource of this visit; elements that are None or empty are left out, as FHIR forbids them."""
        full = {"resourceType": kind, "id": resource_id(self.id, name), **elements}
        return {name: value for name, value in full.items() if value not in (None, [], {})}

    def to(self, kind: str, name: str) -> Doc:
        return pointer(kind, resource_id(self.id, name))

    @property
    def patient(self) -> Doc:
        return self.to("Patient", "patient")

    def row(self, item: str) -> Doc | None:
        """The item's row if it is in force."""
        row: Doc | None = self.state["items"].get(item)
        return row if row and row["fresh"] else None

    def value(self, item: str) -> Any:
        row = self.row(item)
        return row["value"] if row else None

    def by(self, author: str) -> Doc:
        """A reference to a person: the resource of the same bundle."""
        named = pointer("Practitioner", practitioner_id(author))
        name = self.visit.source.people.get(author)
        return named | ({"display": name} if name else {})


def practitioner_id(author: str) -> str:
    return str(uuid.uuid5(uuid.NAMESPACE_OID, f"threemark staff {author}"))


def practitioner(author: str, name: str | None) -> Doc:
    made: Doc = {
        "resourceType": "Practitioner",
        "id": practitioner_id(author),
        "identifier": [identifier("staff", author)],
    }
    return made | ({"name": [{"text": name}]} if name else {})


def organization(name: str) -> Doc:
    made = str(uuid.uuid5(uuid.NAMESPACE_OID, f"threemark clinic {name}"))
    return {"resourceType": "Organization", "id": made, "identifier": [identifier("clinic", name)], "name": name}
