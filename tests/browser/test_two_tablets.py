"""Two clinicians, each with a tablet, write in one visit at once: both see both, nothing is lost, names stand by it."""

from tests.browser.chair import Chair
from tests.browser.conftest import until
from tests.browser.test_walk import to

AWAKE = "dispatchEvent(new Event('pageshow'))"


def woken(*hands: Chair) -> None:
    """As a tablet taken up again asks at once what is new, without waiting for its next round."""
    for hand in hands:
        hand.page.evaluate(AWAKE)


def sent(hand: Chair) -> None:
    until(lambda: hand.pending() == 0, "everything of this tablet to be at the node")


def test_two_tablets_in_one_visit_show_both_hands_and_end_alike(clinic, tablets):
    hands = []
    for name, staff in (("one", "clin-1"), ("two", "clin-2")):
        tablet = tablets(name, viewport={"width": 1024, "height": 768})
        hands.append(Chair(tablet.open(f"{clinic}/chair"), {}))
        hands[-1].sign_in(staff)
    one, two = hands
    visit = one.open_visit("1")
    sent(one)
    woken(two)
    until(lambda: two.page.locator(f'a.visit[href$="{visit}"]').count(), "the visit on the other tablet")
    two.page.locator(f'a.visit[href$="{visit}"]').click()
    until(lambda: len(two.route()) == 4, "the visit opened there")

    two.page.context.set_offline(True)
    for hand, number, lip in ((one, 70, "supported"), (two, 71, "strained")):
        to(hand, "lip", "lip.support")
        hand.choose(lip)
        to(hand, "vertical", "vertical.rest")
        hand.read(number)
    two.page.context.set_offline(False)
    woken(two)
    sent(one)
    sent(two)
    woken(one, two)

    for hand in hands:
        until(lambda hand=hand: hand.page.locator(".reading").count() == 2, "both readings on both tablets")
        assert {"Dr Ada Lindqvist", "Dr Tomas Okoro"} == {
            text.split(" · ")[1] for text in hand.page.locator(".reading .aside").all_inner_texts()
        }
    until(lambda: one.verdict() == two.verdict(), "both tablets to judge alike")
    assert {entry["id"] for entry in one.entries()} == {entry["id"] for entry in two.entries()}

    for hand in hands:
        to(hand, "lip", "lip.support")
        assert hand.page.locator(".choice.is-given").get_attribute("data-value") == "strained", "the later one"
        assert "Dr Tomas Okoro" in hand.page.locator(".under").inner_text()
