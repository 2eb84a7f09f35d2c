"""The drawings beside the questions: present values at their place, sides as the patient has them."""

import math

import pytest

from tests.browser.chair import Chair
from tests.browser.conftest import until
from tests.browser.test_walk import STATIONS, to

SLOPE = """(group) => {
  const line = group.querySelector('path.d-value'), box = line.getCTM();
  const [x1, y1, x2, y2] = line.getAttribute('d').match(/-?[\\d.]+/g).map(Number);
  const at = (x, y) => new DOMPoint(x, y).matrixTransform(box);
  const [from, to] = [at(x1, y1), at(x2, y2)];
  return [to.x - from.x, to.y - from.y];
}"""


def slope(hand: Chair) -> float:
    """Degrees by which the left end of the rim's line is lower on the screen."""
    dx, dy = hand.page.locator(".drawing").evaluate(SLOPE)
    return -math.degrees(math.atan2(dy * math.copysign(1, dx), abs(dx)))


@pytest.mark.parametrize("tilt", [3, -4.5])
def test_the_rim_in_the_face_stands_at_the_angle_read_and_the_patients_right_is_on_the_left(hand, tilt):
    to(hand, "plane", "plane.front")
    assert slope(hand) == pytest.approx(0)
    hand.read(tilt)
    until(lambda: slope(hand) == pytest.approx(tilt, abs=0.01), "the tilt drawn at its angle")


def test_the_left_side_is_the_right_one_in_a_mirror(hand):
    slopes = []
    for item in ("plane.right", "plane.left"):
        to(hand, "plane", item)
        level = slope(hand)
        hand.read(4)
        until(lambda level=level: abs(slope(hand) - level) > 1, "the tilt to be drawn")
        slopes.append((level, slope(hand)))
    (level_right, right), (level_left, left) = slopes
    assert right - level_right == pytest.approx(4, abs=0.01)
    assert (level_left, left) == (pytest.approx(-level_right), pytest.approx(-right))


def test_a_gap_opens_at_its_station_and_stands_there_on_the_map_of_the_review(hand):
    to(hand, "contact", "contact.gap")
    hand.stations(dict.fromkeys(STATIONS, 0) | {"molar_left": 1.5})
    until(lambda: hand.page.locator(".drawing .d-value").count() == 1, "the gap in the drawing")
    left_half = hand.page.locator(".drawing").bounding_box()
    assert hand.page.locator(".drawing .d-value").bounding_box()["x"] > left_half["x"] + left_half["width"] / 2
    hand.page.locator('.rail [data-step="review"]').click()
    until(lambda: hand.page.locator(".review-maps .spot").count() == len(STATIONS), "the map of the review")
    gap = hand.page.locator('.review-maps [data-station="molar_left"]')
    assert "1.50" in gap.inner_text()
    assert "at-off" in gap.get_attribute("class").split()


def test_a_drawing_is_told_in_words_with_the_value_it_shows_and_leaves_narrow_screens_alone(hand):
    to(hand, "plane", "plane.front")
    drawing = hand.page.locator(".drawing")
    assert str(drawing.get_attribute("aria-label")).startswith("Face from the front")
    hand.read(-3)
    until(lambda: "−3.0°" in str(drawing.get_attribute("aria-label")), "the value in words")
    assert drawing.is_visible()
    hand.page.set_viewport_size({"width": 390, "height": 844})
    assert not drawing.is_visible()


def scale(hand: Chair) -> float:
    """Pixels of the screen for a unit of the sheet, which is 240 wide."""
    return float(hand.page.locator(".drawing").bounding_box()["width"]) / 240


def test_an_overjet_is_drawn_at_its_size_and_a_midline_on_the_side_it_is_off_to(hand):
    lengths = []
    to(hand, "overjet", "overjet.gap")
    for mm in (1, 3):
        hand.stations({"front": mm})
        until(
            lambda mm=mm: f"{mm}.0" in str(hand.page.locator(".drawing").text_content()), "the overjet in the drawing"
        )
        lengths.append(hand.page.locator(".drawing .d-value").first.bounding_box()["width"])
    assert lengths[1] - lengths[0] == pytest.approx(2 * 9 * scale(hand), abs=0.1), "9 units of the sheet a millimetre"

    to(hand, "record", "lines.midline_shift")
    hand.read(3)
    until(lambda: "3.0" in str(hand.page.locator(".drawing").get_attribute("aria-label")), "the shift in the drawing")
    whole, midline = (hand.page.locator(at).first.bounding_box() for at in (".drawing", ".drawing .d-value"))
    assert midline["x"] > whole["x"] + whole["width"] / 2, "to the patient's left, which is on the right"
