"""Who may come in through which page or route."""

from collections.abc import Callable
from typing import Any

from nicegui import ui

from chairapp.clinic import ClinicDocument, Person, Roles

__all__ = ["Doors"]


class Doors:
    def __init__(self, clinic: Callable[[], ClinicDocument]) -> None:
        self._clinic = clinic
        self._may: Roles = None

    def page(self, path: str, *, may: Roles) -> Callable[..., Any]:  # noqa: ARG002
        return ui.page(path)

    def door(self, may: Roles) -> Callable[[], Person]:
        return lambda: self._first(may)

    def person(self) -> Person | None:
        return self._first(frozenset(("assistant",)))

    def _first(self, may: Roles) -> Person:
        return next(person for person in self._clinic().staff if may is None or person.role in may)
