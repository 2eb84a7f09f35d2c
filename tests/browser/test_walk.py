"""What the tablet page does under a finger, in real Chromium against a real node."""

from itertools import pairwise

import pytest

from tests.browser.chair import Chair
from tests.browser.conftest import until

STATIONS = ["molar_right", "premolar_right", "canine_right", "front", "canine_left", "premolar_left", "molar_left"]
SEATING = {
    "seating.upright": "upright",
    "seating.glasses": "off",
    "seating.points": "tip_and_chin",
    "seating.tragus": "middle",
    "seating.stable": "stable",
}


IPAD = (
    "Mozilla/5.0 (iPad; CPU OS 17_5 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/17.5 Safari/604.1"
)


def to(hand: Chair, step: str, item: str) -> None:
    """Straight to a question, as by the rail."""
    visit = hand.route()[1]
    hand.page.evaluate(f"location.hash = '#/walk/{visit}/{step}/{item}'")
    until(lambda: hand.page.locator(f'[data-item="{item}"]').count(), f"the question {item}")


def fault(hand: Chair) -> str:
    return str(until(lambda: hand.page.locator(".keypad .fault").inner_text(), "what is wrong"))


@pytest.mark.parametrize("typed", ["2 cm", "700", "seventy"])
def test_what_cannot_be_is_said_beside_the_field_and_the_typed_text_is_kept(hand, typed):
    to(hand, "vertical", "vertical.rest")
    hand.type(typed)
    assert fault(hand).startswith("Rest vertical dimension: ")
    assert typed in fault(hand)
    assert hand.field.input_value() == typed
    assert hand.settled()["items"]["vertical.rest"]["readings"] == []

    hand.page.reload()
    until(lambda: hand.field.count() and hand.field.input_value() == typed, "the typed text after a reload")
    hand.field.fill("")
    hand.read(70.5)
    until(lambda: len(hand.settled()["items"]["vertical.rest"]["readings"]) == 1, "the reading put right")


def test_nothing_is_selected_before_it_is_chosen(hand):
    for item in SEATING:
        to(hand, "seating", item)
        assert hand.page.locator('.choices [aria-pressed="true"]').count() == 0
        assert hand.page.locator(".choices .is-given").count() == 0


def test_a_withdrawn_reading_is_gone_from_the_mean_and_can_be_put_back(hand):
    to(hand, "vertical", "vertical.rest")
    for number in (70, 71, 79):
        hand.read(number)
    until(lambda: "73.33" in hand.page.locator(".figures").inner_text(), "the mean of three")
    hand.withdraw_last_reading()
    until(lambda: "70.5" in hand.page.locator(".figures").inner_text(), "the mean of two")
    hand.page.locator(".undo button").click()
    until(lambda: hand.page.locator(".reading").count() == 3, "the reading put back")
    kinds = [entry["kind"] for entry in hand.entries() if entry["item"] == "vertical.rest"]
    assert kinds == ["reading", "reading", "reading", "withdrawal", "reading"]


def test_a_change_of_wax_marks_what_it_disturbs_and_undo_takes_the_mark_away(hand):
    to(hand, "display", "display.rest")
    hand.read(0)
    until(lambda: hand.settled()["items"]["display.rest"]["status"] == "fresh", "the reading to be judged")
    hand.change_wax("upper", "height", "add", {"front": 1.5})
    assert hand.settled()["items"]["display.rest"]["status"] == "stale"

    to(hand, "display", "display.rest")
    note = hand.page.locator(".stale-note").inner_text()
    assert "Dr Ada Lindqvist" in note
    assert "upper rim" in note
    assert "0" in hand.page.locator(".history").inner_text()
    hand.read(1.5)
    until(lambda: "0.0 → 1.5" in hand.page.locator(".history").inner_text(), "both rounds side by side")

    hand.page.locator(".rail .wax").click()
    hand.page.locator(".change button").click()
    until(lambda: hand.settled()["adjustments"][0]["withdrawn"], "the change to be undone")
    assert hand.settled()["items"]["display.rest"]["status"] == "fresh"


def test_a_choice_that_has_become_stale_is_shown_and_waits_to_be_given_again(hand):
    to(hand, "bench", "bench.sealed")
    hand.choose("sealed")
    until(lambda: hand.settled()["items"]["bench.sealed"]["status"] == "fresh", "the answer to be judged")
    hand.change_wax("upper", "labial", "add", {"front": 1})
    to(hand, "bench", "bench.sealed")
    assert hand.page.locator(".choice.was-given").get_attribute("data-value") == "sealed"
    assert hand.page.locator('.choices [aria-pressed="true"]').count() == 0
    hand.choose("sealed")


def test_an_acceptance_needs_a_reason_and_says_what_it_accepts(hand):
    to(hand, "lip", "lip.support")
    hand.choose("strained")
    until(lambda: hand.verdict()["steps"]["lip"]["verdict"] == "off", "the lip to be off")
    hand.page.locator('.decision [href^="#/accept"]').click()
    assert "strained" in hand.page.locator(".accepted-findings").inner_text()
    hand.page.locator(".accept-keep").click()
    assert "reason" in hand.page.locator(".accept .fault").inner_text().lower()
    hand.page.locator("textarea").fill("an old scar")
    hand.page.locator(".accept-keep").click()
    until(lambda: hand.page.locator('.verdict[data-verdict="accepted"]').count(), "the step to be accepted")
    assert "an old scar" in hand.page.locator(".verdict").inner_text()


def test_one_value_everywhere_and_then_one_place_put_right(hand):
    to(hand, "contact", "contact.gap")
    hand.page.locator(".everywhere").click()
    until(lambda: hand.settled()["items"]["contact.gap"]["value"] == dict.fromkeys(STATIONS, 0), "all seven to touch")
    hand.stations({"molar_left": 0.75})
    until(lambda: hand.settled()["items"]["contact.gap"]["value"]["molar_left"] == 0.75, "one place put right")


def test_of_two_quick_taps_neither_is_lost(hand):
    to(hand, "marks", "marks.placed")
    stations = ["front", "molar_right", "molar_left"]
    hand.page.evaluate(
        "(all) => all.forEach((one) => document.querySelector(`.rim-map [data-station=${one}]`).click())", stations
    )
    until(lambda: hand.settled()["items"]["marks.placed"]["value"] == dict.fromkeys(stations, True), "all three marks")

    to(hand, "packing", "packing.items")
    hand.page.evaluate("document.querySelectorAll('.choices .choice').forEach((one) => one.click())")
    until(lambda: len(hand.settled()["items"]["packing.items"]["value"] or []) == 8, "everything in the box")


SIZES = """() => {
  const shown = [...document.querySelectorAll("a, button, input, textarea")].filter((one) => one.offsetParent);
  return shown.map((one) => {
    const {width, height} = one.getBoundingClientRect();
    return {what: one.textContent.slice(0, 20), classes: [...one.classList], width, height};
  });
}"""


LEAST = {"choice": 72, "next": 72, "take": 72, "primary": 48, "key": 64, "spot": 64}


def too_small(page) -> list[object]:
    """Targets lower than a wet glove needs them, or narrower than 44 px, as axe-core tells of its rules."""
    shown = page.evaluate(SIZES)
    least = [max([40, *(size for name, size in LEAST.items() if name in one["classes"])]) for one in shown]
    found = [one for one, size in zip(shown, least, strict=True) if one["height"] < size or one["width"] < 40]
    return [["a target is too small", found]] if found else []


def test_every_target_is_large_enough_for_a_glove_and_nothing_hangs_over_the_edge(hand):
    for width, height in ((390, 844), (1366, 1024)):
        hand.page.set_viewport_size({"width": width, "height": height})
        for step, item in (("seating", "seating.upright"), ("vertical", "vertical.rest"), ("contact", "contact.gap")):
            to(hand, step, item)
            assert too_small(hand.page) == []
            assert hand.page.evaluate("document.documentElement.scrollWidth") == width


def test_on_a_phone_a_finding_takes_one_line_until_it_is_tapped(hand):
    hand.page.set_viewport_size({"width": 390, "height": 844})
    to(hand, "lip", "lip.support")
    hand.choose("strained")
    until(lambda: hand.page.locator('.verdict[data-verdict="off"]').count(), "the lip to be off")
    footer, accept = hand.page.locator(".decision"), hand.page.locator('.decision [href^="#/accept"]')
    assert footer.bounding_box()["height"] < 844 / 4
    assert not accept.is_visible()
    hand.page.locator(".verdict .sentence").first.click(force=True)
    until(accept.is_visible, "the way to accept")
    assert hand.page.locator(".verdict .advice").first.is_visible()
    to(hand, "display", "display.rest")
    assert not hand.page.locator(".verdict.shows-all").count()


def test_answers_stand_sixteen_pixels_apart(hand):
    boxes = [button.bounding_box() for button in hand.page.locator(".choices .choice").all()]
    assert all(below["y"] - above["y"] - above["height"] >= 16 for above, below in pairwise(boxes))
    assert all(box["x"] >= 24 for box in boxes)


def test_a_new_verdict_is_told_to_a_screen_reader(hand):
    region = hand.page.locator(".verdict [role=status]")
    assert region.get_attribute("aria-live") == "polite"
    for item, value in SEATING.items():
        to(hand, "seating", item)
        hand.choose(value)
    until(lambda: region.inner_text().lower() == "fits", "the verdict in the live region")


def test_the_plan_done_as_planned_is_recorded_with_one_tap_and_the_stale_step_is_proposed_next(hand):
    for item, value in (("display.rest", 0), ("plane.front", 0), ("plane.right", 0), ("plane.left", 0)):
        to(hand, item.split(".")[0], item)
        hand.read(value)
    hand.page.locator(".rail .wax").click()
    planned = hand.verdict()["plan"]["shown"]["upper"]
    hand.page.locator(".as-planned").click()
    until(lambda: hand.settled()["adjustments"], "the change to be kept")
    (made,) = hand.settled()["adjustments"]
    assert (made["rim"], made["surface"], made["stations"]) == ("upper", "height", planned)
    assert "Plane" in hand.page.locator(".next").inner_text()


def test_what_only_this_tablet_holds_is_said_until_it_is_sent(clinic, tablets):
    hand = Chair(tablets(user_agent=IPAD).open(f"{clinic}/chair"), {})
    hand.sign_in("clin-1")
    hand.open_visit("1")
    until(lambda: hand.pending() == 0, "the visit just opened to be sent")
    hand.page.context.set_offline(True)
    hand.choose("upright")
    hand.page.locator(".lamp").click()
    warning = hand.page.locator("main.data .unsent")
    until(warning.count, "the warning")
    assert "holds 1 visit not yet sent" in warning.inner_text()
    assert "do not clear" in warning.inner_text()
    assert "Tap the Share button" in hand.page.locator(".facts").inner_text(), "what to do on this kind of tablet"
    hand.page.context.set_offline(False)
    hand.page.locator(".send").click()
    until(lambda: warning.count() == 0, "the warning to be gone once all is sent")


def test_how_often_the_words_were_said_is_counted(hand):
    to(hand, "display", "display.fv")
    for _ in range(2):
        hand.page.locator(".said-aloud").click()
    until(lambda: "2" in hand.page.locator(".said-aloud .times").inner_text(), "the count")
    assert hand.page.locator(".aloud-words").get_attribute("lang") == "en"
    assert [entry["kind"] for entry in hand.entries()] == ["opened"]


def test_readings_too_close_to_a_limit_say_how_many_more_would_settle_it(hand):
    for item, value in {"rest_bases": "none", "s_sound": "clear", "m_rest": "easy"}.items():
        to(hand, "vertical", f"vertical.{item}")
        hand.choose(value)
    for item, numbers in {"rest": (70, 71, 70.5), "occlusal": (68, 68, 67.5)}.items():
        to(hand, "vertical", f"vertical.{item}")
        for number in numbers:
            hand.read(number)
    settles = hand.page.locator(".side-panel .settles")
    until(settles.count, "how many more")
    assert "more of each would settle it" in settles.inner_text()


def test_a_note_on_a_step_is_kept_and_can_be_withdrawn(hand):
    hand.page.locator(".add-note").click()
    hand.page.locator(".notes textarea").fill("sits with a stiff neck")
    hand.page.locator(".keep-note").click()
    until(lambda: "stiff neck" in hand.page.locator(".notes ul").inner_text(), "the note on the screen")
    hand.page.locator(".notes .note button").click()
    until(lambda: hand.page.locator(".notes .note").count() == 0, "the note to be withdrawn")


def test_a_signature_shows_what_was_changed_after_it(hand):
    hand.sign()
    to(hand, "lip", "lip.support")
    hand.choose("strained")
    hand.page.locator('.rail [data-step="review"]').click()
    until(lambda: hand.page.locator(".signature.is-void").count() == 1, "the signature to be void")
    assert "Lip support" in hand.page.locator(".signature").inner_text()
