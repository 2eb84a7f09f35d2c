"""Text at twice its size, as a person may set it in the browser: nothing is cut off, covered, or beside the screen."""

from tests.browser.chair import Chair
from tests.browser.test_walk import to
from tests.chromium import ARGS

TWICE = "--blink-settings=defaultFontSize=32"
SCREENS = [
    ("lip", "lip.support"),
    ("display", "display.fv"),
    ("plane", "plane.front"),
    ("contact", "contact.gap"),
    ("vertical", "vertical.rest"),
]
# Every target scrolled to: what a finger would hit at its middle must be that target. Text may be wider than its place
# only in the one line of a finding, which opens on a tap.
LOST = """() => {
  const shown = [...document.querySelectorAll("a, button, input, textarea")].filter((one) => one.offsetParent);
  const covered = shown.filter((one) => {
    one.scrollIntoView({block: "center"});
    const {left, top, width, height} = one.getBoundingClientRect();
    const hit = document.elementFromPoint(left + width / 2, top + height / 2);
    return !(hit && (one.contains(hit) || hit.contains(one)));
  });
  const cut = [...document.querySelectorAll(".chair *")].filter((one) =>
    one.offsetParent && getComputedStyle(one).overflowX !== "visible" && one.scrollWidth > one.clientWidth + 1
    && !one.closest(".verdict") && one.tagName !== "INPUT");
  return [...covered, ...cut].map((one) => `${one.tagName} ${one.className}: ${one.textContent.slice(0, 40)}`);
}"""


def test_at_twice_the_size_of_text_every_target_can_be_reached_and_nothing_hangs_over(clinic, tablets):
    tablet = tablets(args=[*ARGS, TWICE])
    hand = Chair(tablet.open(f"{clinic}/chair"), {})
    hand.sign_in("clin-1")
    hand.open_visit("1")
    assert hand.page.evaluate("getComputedStyle(document.documentElement).fontSize") == "32px"
    lost = {}
    for width, height in ((1024, 768), (768, 1024), (390, 844)):
        hand.page.set_viewport_size({"width": width, "height": height})
        for step, item in SCREENS:
            to(hand, step, item)
            over = hand.page.evaluate("document.documentElement.scrollWidth") - width
            lost[width, item] = hand.page.evaluate(LOST) + ([f"{over} px over the edge"] if over > 0 else [])
    assert {where: what for where, what in lost.items() if what} == {}
    assert tablet.errors == []
