"""Authors the tablet page: every step and every item of the sequence in its place, by id. It is frozen as it stands.

A visit's own sequence document may have other bands, required flags and texts; its steps and items are these.
"""

import json
import tomllib
from importlib.resources import files

from nicegui import ui

from chairapp.elements.chair_frame import ChairFrame
from chairapp.elements.choice_pad import ChoicePad
from chairapp.elements.finding_card import Accept, FindingCard
from chairapp.elements.list_pad import ListPad
from chairapp.elements.number_pad import NumberPad
from chairapp.elements.offline import Offline, Pad
from chairapp.elements.reading_pad import ReadingPad
from chairapp.elements.review import CaseBox, Review
from chairapp.elements.sign_in import PairTablet, SignIn
from chairapp.elements.station_pad import StationPad
from chairapp.elements.step_walk import Question, StepScreen, StepWalk
from chairapp.elements.sync_lamp import DataPage, SyncLamp
from chairapp.elements.text_pad import TextPad
from chairapp.elements.visit_list import NewVisit, VisitList
from chairapp.elements.wax_plan import Adjust, WaxPlan
from chairapp.sequence import jaw_relation
from chairapp.sequence.models import Sequence, Step

__all__ = ["build", "screens", "words"]

PADS: dict[str, type[Pad]] = {
    "choice": ChoicePad,
    "reading": ReadingPad,
    "number": NumberPad,
    "stations": StationPad,
    "text": TextPad,
    "list": ListPad,
}
STYLES = ("base.css", "pads.css", "chair.css", "photo.css", "drawings.css", "people.css")
"""In the order in which they count."""
LAST: dict[str, type[Offline]] = {"review": Review, "packing": CaseBox}
"""What a step ends with after its questions. Its screen goes by the name of its step."""


def build() -> None:
    """Put the elements on the present NiceGUI page."""
    ui.add_head_html(f"<style>{''.join(map(_read, STYLES))}</style>")
    sequence = jaw_relation()
    steps = screens(sequence)
    with ChairFrame():
        SyncLamp("lamp")
        VisitList("visits", steps=steps)
        NewVisit("new")
        SignIn("staff")
        DataPage("data")
        PairTablet("pair")
        with StepWalk("walk", steps=steps):
            FindingCard("finding")
            Accept("accept")
            WaxPlan("wax")
            Adjust("change")
            for step in sequence.steps:
                _screen(sequence, step)


def screens(sequence: Sequence) -> list[dict[str, object]]:
    """[{"id": step, "screens": [items]}]: the screens of each step in the order in which they are shown."""
    return [
        {"id": step.id, "screens": _items(step) + ([step.id] if step.id in LAST else [])} for step in sequence.steps
    ]


def words(demo_pin: str = "") -> str:
    """The page's own texts as JSON: {language: {key: text}}. `demo_pin` is what they say opens the demonstration."""
    folder = files("chairapp.elements") / "words"
    found = {path.name.removesuffix(".toml"): tomllib.loads(path.read_text("utf-8")) for path in folder.iterdir()}
    for texts in found.values():
        texts["pin.demo"] = texts["pin.demo"].replace("{demo_pin}", demo_pin)
    return json.dumps(dict(sorted(found.items())), ensure_ascii=False)


def _screen(sequence: Sequence, step: Step) -> None:
    kinds = {item.id: item.kind for each in sequence.steps for item in each.items}
    with StepScreen(step.id):
        for item in _items(step):
            with Question(item):
                PADS[kinds[item]](item)
        if step.id in LAST:
            LAST[step.id](item=step.id)


def _items(step: Step) -> list[str]:
    """Items asked in this step; those borrowed from a later step come first."""
    return [*step.first, *(item.id for item in step.items)]


def _read(name: str) -> str:
    return (files("chairapp.elements") / name).read_text("utf-8")
