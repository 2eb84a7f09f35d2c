"""The keyboard alone, without a finger or a mouse: a tablet is woken and a visit walked."""

import json

from tests.browser.chair import Chair
from tests.browser.conftest import until

ANSWERS = {
    "seating.upright": "upright",
    "seating.glasses": "off",
    "seating.points": "tip_and_chin",
    "seating.tragus": "middle",
    "seating.stable": "stable",
    "existing.worn": "none",
    "bench.sealed": "sealed",
    "bench.heel": "short",
    "lip.support": "supported",
    "display.rest": 1.5,
    "display.fv": "touches",
    "plane.front": -0.5,
    "plane.right": 1,
    "plane.left": 1,
    "lower.commissure": "level",
    "lower.pad_right": "half",
    "lower.pad_left": "half",
    "bases.closing": "clear",
    "contact.position": "same",
}
STEPS = ["seating", "bench", "lip", "display", "plane", "lower"]


def press(hand: Chair, selector: str) -> None:
    """Tab to it from where the focus is, then Enter."""
    for _ in range(80):
        if hand.page.evaluate(f"document.activeElement.matches({json.dumps(selector)})"):
            hand.page.keyboard.press("Enter")
            return
        hand.page.keyboard.press("Tab")
    raise AssertionError(f"{selector} cannot be reached with Tab")


def give(hand: Chair, item: str) -> None:
    value = ANSWERS.get(item)
    if isinstance(value, str):
        press(hand, f'.choice[data-value="{value}"]')
    elif value is not None:
        until(lambda: hand.page.evaluate("document.activeElement.closest('.field') !== null"), "the field to be ready")
        hand.page.keyboard.type(str(value))
        hand.page.keyboard.press("Enter")
    if value is not None:
        until(lambda: hand.settled()["items"][item]["status"] == "fresh", f"{item} to be judged")


def test_a_visit_is_opened_and_walked_by_the_keyboard_alone(clinic, tablets):
    tablet = tablets(viewport={"width": 1024, "height": 768})
    hand = Chair(tablet.open(f"{clinic}/chair"), {})
    hand.sign_in("clin-1")
    press(hand, ".new-visit")
    until(lambda: hand.page.locator(".new .choice").count(), "the chairs")
    press(hand, '.new [data-value="1"]')
    press(hand, ".open-visit")
    until(lambda: len(hand.route()) == 4, "the first question")
    while True:
        item = hand.item
        until(lambda item=item: hand.page.locator(f'[data-item="{item}"]').count(), f"the question {item}")
        give(hand, item)
        if item == "contact.position":
            break
        press(hand, ".next")
        until(lambda was=item: hand.item not in ("", was), f"the question after {item}")
    assert {step: hand.verdict()["steps"][step]["verdict"] for step in STEPS} == dict.fromkeys(STEPS, "fits")
    press(hand, '.rail [data-step="contact"]')
    until(lambda: hand.item == "contact.gap", "the question that waits in the step chosen on the rail")
    assert tablet.errors == []
