"""The whole visit in WebKit, the engine of most tablets. Runs where WebKit is installed: see second_engine.py."""

import pytest

from tests.browser.chair import Chair
from tests.browser.conftest import until
from tests.browser.second_engine import missing, webkit
from tests.browser.test_whole_visit import AFTER_THE_WAX

pytestmark = pytest.mark.skipif(bool(missing()), reason=missing())


@pytest.mark.timeout(600)
def test_a_visit_is_walked_signed_and_sent_in_webkit(clinic, tmp_path):
    with webkit(tmp_path) as page:
        page.goto(f"{clinic}/chair")
        hand = Chair(page, AFTER_THE_WAX)
        hand.sign_in("clin-1")
        visit = hand.open_visit("1")
        hand.walk("overjet.gap")
        hand.accept("overjet", "front overjet wanted by the patient, seen in profile")
        page.reload()
        until(lambda: hand.route()[1:2] == [visit] and hand.settled(), "the visit after the reload")
        hand.walk_proposed()
        assert hand.verdict()["ready"]
        hand.sign()
        until(lambda: hand.pending() == 0, "the node to have everything")
        assert hand.settled()["signatures"][0]["valid"]
