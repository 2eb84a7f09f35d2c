"""What the try-in showed of the record: one `outcome` entry, item `try_in`, written from the box page.

    {"vertical": FOUND, "centric": FOUND, "plane": FOUND, "midline": FOUND, "display": FOUND,
                       FOUND is "right" or "correct": to be corrected
     "repeat": bool,   whether the jaw relation record is to be taken again
     "why": str}       in a few words; "" where all is right

The latest one by (clock, id) counts; a box that came to the chair again gets a further one. The figures of the clinic
are made from these.
"""

from dataclasses import dataclass, field
from typing import Any

from chairapp.box.errors import OutcomeError
from chairapp.sequence.check_box import TRIED

__all__ = ["ITEM", "TRIED_WORDS", "Outcome", "told"]

ITEM = "try_in"
WHY_MAX = 200
TRIED_WORDS = {
    "vertical": "Vertical dimension",
    "centric": "Centric relation",
    "plane": "Plane",
    "midline": "Midline",
    "display": "Display",
}


@dataclass
class Outcome:
    """The form as far as it is filled in."""

    found: dict[str, str] = field(default_factory=dict)
    repeat: bool | None = None
    why: str = ""

    def value(self) -> dict[str, Any]:
        """Raises OutcomeError naming the first thing that is missing."""
        for name in TRIED:
            if name not in self.found:
                raise OutcomeError(f"{TRIED_WORDS[name]}: say whether it is right or to be corrected")
        if self.repeat is None:
            raise OutcomeError("Record: say whether it is to be repeated")
        if len(self.why) > WHY_MAX:
            raise OutcomeError(f"Why: {len(self.why)} characters, at most {WHY_MAX}: say it shorter")
        if not self.why.strip() and (self.repeat or "correct" in self.found.values()):
            raise OutcomeError("Why: say in a word what was wrong")
        return {**{name: self.found[name] for name in TRIED}, "repeat": self.repeat, "why": self.why.strip()}


def told(value: dict[str, Any]) -> str:
    """The outcome in a line: "Plane, midline to be corrected; record to be repeated: worn marks"."""
    wrong = [word for name, word in TRIED_WORDS.items() if value[name] == "correct"]
    said = f"{', '.join(wrong)} to be corrected" if wrong else "All right"
    if value["repeat"]:
        said += "; record to be repeated"
    return f"{said}: {value['why']}" if value["why"] else said
