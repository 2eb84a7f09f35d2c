"""What Python authors: every question of the sequence has its place on the page, and the page knows ids only."""

import json

import pytest
from nicegui import Client
from nicegui.page import page

from chairapp.elements import chair
from chairapp.elements.offline import Offline, Pad
from chairapp.elements.step_walk import Question, StepScreen, StepWalk
from chairapp.sequence import jaw_relation


@pytest.fixture(scope="module")
def elements():
    with Client(page("/elements-under-test")) as client:
        chair.build()
        yield [element for element in client.elements.values() if isinstance(element, Offline)]


def children(element):
    return element.default_slot.children


def test_every_step_has_its_screen_in_the_order_of_the_sequence(elements):
    shown = [element._props["step"] for element in elements if isinstance(element, StepScreen)]
    assert shown == [step.id for step in jaw_relation().steps]


def test_every_item_has_the_pad_of_its_kind_under_its_own_question(elements):
    kinds = {item.id: item.kind for step in jaw_relation().steps for item in step.items}
    asked = set()
    for question in (element for element in elements if isinstance(element, Question)):
        (pad,) = children(question)
        item = question._props["item"]
        assert pad._props["item"] == item
        assert type(pad) is chair.PADS[kinds[item]]
        asked.add(item)
    assert asked == set(kinds)


def test_an_item_of_a_later_step_is_asked_first_where_the_sequence_wants_it_so(elements):
    contact = next(
        element for element in elements if isinstance(element, StepScreen) and element._props["step"] == "contact"
    )
    assert [question._props["item"] for question in children(contact)][:2] == ["bases.closing", "contact.position"]


def test_the_walk_knows_the_screens_that_are_on_the_page(elements):
    (walk,) = [element for element in elements if isinstance(element, StepWalk)]
    on_page = {
        element._props["step"]: [child._props["item"] for child in children(element)]
        for element in elements
        if isinstance(element, StepScreen)
    }
    assert {step["id"]: step["screens"] for step in walk._props["steps"]} == on_page


def test_no_band_no_number_and_no_text_of_the_sequence_is_frozen_into_the_page(elements):
    allowed = {"item", "step", "steps", "data-page"}
    assert {name for element in elements for name in element._props} <= allowed
    frozen = json.dumps([dict(element._props) for element in elements])
    assert not [text for text in jaw_relation().texts["en"].values() if len(text) > 12 and text in frozen]


def test_no_element_needs_the_node_when_it_is_tapped(elements):
    assert not [element for element in elements if element._event_listeners]


def test_there_is_a_pad_for_every_kind_of_item():
    kinds = {item.kind for step in jaw_relation().steps for item in step.items}
    assert kinds <= set(chair.PADS)
    assert all(issubclass(pad, Pad) for pad in chair.PADS.values())
