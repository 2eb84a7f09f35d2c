"""What the parts of the figures are told in: the clinic's names and the words of the sequence in force."""

from typing import Any, NamedTuple

from markupsafe import Markup

from chairapp.audit.asked import Asked
from chairapp.audit.figures import ENOUGH
from chairapp.clinic import ClinicDocument
from chairapp.elements.frame import html
from chairapp.register import Words

__all__ = ["Told", "about", "nothing", "too_few_of"]


class Told(NamedTuple):
    asked: Asked
    clinic: ClinicDocument
    sequence: dict[str, Any]
    words: Words

    def step(self, id: str) -> str:
        return self.words(f"step.{id}.title")

    def item(self, id: str) -> str:
        return self.words(f"item.{id}.label")

    def unit(self, item: str) -> str:
        items = {one["id"]: one for step in self.sequence["steps"] for one in step["items"]}
        unit = items[item]["unit"] if item in items else None
        return self.words(f"unit.{unit}") if unit else ""

    def people(self, ids: list[str]) -> str:
        return ", ".join(map(self.clinic.name_of, ids))


def about(text: str) -> None:
    """What the figures below mean, and what they do not."""
    html(Markup('<p class="tm-about">{}</p>').format(text))


def nothing(text: str) -> None:
    html(Markup('<p class="tm-empty">{}</p>').format(text))


def too_few_of(count: int) -> Markup:
    return Markup('<p class="tm-soft">Too few: {} of {}.</p>').format(count, ENOUGH)
