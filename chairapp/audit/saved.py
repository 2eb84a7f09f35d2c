"""Filters a manager saved under a name, each of them an address; kept beside the entries, for that manager alone."""

from typing import NamedTuple

from chairapp.audit.errors import AskedError
from chairapp.audit.sources import Kept

__all__ = ["NAME_MAX", "Saved", "SavedFilters"]

NAME_MAX = 40
MOST = 20


class Saved(NamedTuple):
    name: str
    query: str


class SavedFilters:
    def __init__(self, kept: Kept, person: str) -> None:
        self._kept = kept
        self._name = f"audit filters of {person}"

    def all(self) -> list[Saved]:
        """By name."""
        return [Saved(name, query) for name, query in sorted((self._kept.kept(self._name) or {}).items())]

    def save(self, name: str, query: str) -> None:
        """One of the same name is replaced. Raises AskedError."""
        plain = " ".join(name.split())
        if not plain:
            raise AskedError("Name: give the filter a name, then save it")
        if len(plain) > NAME_MAX:
            raise AskedError(f"Name: {len(plain)} characters, at most {NAME_MAX}: say it shorter")
        known = dict(self.all())
        if plain not in known and len(known) >= MOST:
            raise AskedError(f"Name: there are {MOST} saved filters, remove one first")
        self._kept.keep(self._name, known | {plain: query})

    def remove(self, name: str) -> None:
        self._kept.keep(self._name, {saved.name: saved.query for saved in self.all() if saved.name != name})
