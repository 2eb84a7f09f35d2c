"""Every screen of the tablet page and every kind of page of a node keeps WCAG 2.0 to 2.2, A and AA (axe-core), and its
targets are as large as a wet glove needs them.
"""

from collections.abc import Iterator

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

from chairapp.elements.chair import screens
from chairapp.sequence import jaw_relation
from tests.browser.chair import Chair
from tests.browser.conftest import until
from tests.browser.test_photo_angle import drawn, front, give, to_photo
from tests.browser.test_walk import to, too_small

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
RUN = """async (rules) => {
  const {violations} = await axe.run(document, {runOnly: rules, resultTypes: ['violations']});
  const told = ({target, failureSummary}) => [target.join(' '), failureSummary];
  return violations.map(({id, nodes}) => [id, nodes.map(told)]);
}"""
ANSWERS = {"lip.support": "strained", "display.rest": 4.0}
PLACES = {
    "the visits": "",
    "a new visit": "new",
    "who writes": "staff",
    "where the data is": "data",
    "wax": "wax/VISIT",
    "a change of wax": "change/VISIT",
    "an acceptance": "accept/VISIT/lip",
}
UPRIGHT = {
    "a choice": "walk/VISIT/lip/lip.support",
    "readings": "walk/VISIT/display/display.rest",
    "the rim map": "walk/VISIT/contact/contact.gap",
    "the review": "walk/VISIT/review/review",
    "wax": "wax/VISIT",
}


@pytest.fixture(autouse=True)
def settled_colours(hand):
    """Without motion, as a person may ask for it: a colour is not measured half way to another."""
    hand.page.emulate_media(reduced_motion="reduce")


def faults(page: Page) -> list[object]:
    """What axe-core finds wrong on the page as it stands. Its script is put in from outside: the page loads nothing."""
    if not page.evaluate("Boolean(globalThis.axe)"):
        page.evaluate(AXE_SCRIPT + "; null")
    return page.evaluate(RUN, RULES) + too_small(page)


def asked() -> Iterator[tuple[str, str]]:
    for step in screens(jaw_relation()):
        for item in step["screens"]:
            yield str(step["id"]), str(item)


def show(hand: Chair, place: str) -> None:
    hand.page.evaluate("(to) => { location.hash = to; }", "#/" + place)
    until(lambda: hand.page.locator("main h1, .sheet h1").count(), f"{place} on the screen")


@pytest.mark.timeout(600)
def test_every_screen_of_the_tablet_keeps_the_rules(hand):
    """With answers that put steps off, so that what is said about them is on the screens after them."""
    visit, wrong = hand.route()[1], {}
    for step, item in asked():
        if step == item:
            show(hand, f"walk/{visit}/{step}/{item}")
        else:
            to(hand, step, item)
        if item in ANSWERS:
            hand.answers = ANSWERS
            hand.answer(item)
        wrong[item] = faults(hand.page)
    for name, place in PLACES.items():
        show(hand, place.replace("VISIT", visit))
        wrong[name] = faults(hand.page)
    assert {item: found for item, found in wrong.items() if found} == {}


def test_in_the_other_orientation_the_rail_laid_open_the_photograph_and_four_more_screens_keep_the_rules(hand):
    hand.page.set_viewport_size({"width": 768, "height": 1024})
    hand.page.locator(".rail-bar").click()
    wrong = {"the rail": faults(hand.page)}
    hand.page.locator(".rail-bar").click()
    for name, place in UPRIGHT.items():
        show(hand, place.replace("VISIT", hand.route()[1]))
        wrong[name] = faults(hand.page)
    to_photo(hand, "plane", "plane.front")
    give(hand, drawn(front(0)))
    until(lambda: hand.page.locator("canvas.picture").count(), "the picture")
    wrong["a photograph"] = faults(hand.page)
    assert {name: found for name, found in wrong.items() if found} == {}


def test_on_a_phone_five_screens_keep_the_rules_with_a_finding_at_the_foot(hand):
    hand.page.set_viewport_size({"width": 390, "height": 844})
    to(hand, "lip", "lip.support")
    hand.choose("strained")
    wrong = {}
    for name, place in UPRIGHT.items():
        show(hand, place.replace("VISIT", hand.route()[1]))
        wrong[name] = faults(hand.page)
    assert {name: found for name, found in wrong.items() if found} == {}


def test_the_pages_of_a_node_keep_the_rules(hand, clinic):
    page = hand.page.context.new_page()
    for place in ("/", "/label", "/audit"):
        page.goto(clinic + place)
        until(lambda: page.locator("main h1").count(), "the page to be drawn")
        assert page.evaluate(AXE_SCRIPT + "; null") is None
        assert page.evaluate(RUN, RULES) == [], place


def test_a_screen_that_breaks_a_rule_is_found(hand):
    """The tool itself: a button without a name and a grey text on white are seen."""
    hand.page.evaluate(
        "document.querySelector('main').innerHTML = '<button></button><p style=\"color:#aaa\">too pale to be read</p>'",
    )
    assert {rule for rule, _ in faults(hand.page)} >= {"button-name", "color-contrast", "a target is too small"}
