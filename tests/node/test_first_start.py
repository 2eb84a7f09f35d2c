"""The first day of a clinic, in real browsers: from the link in the server's window to signing in on a tablet."""

import re
from io import BytesIO

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import expect

from tests.browser.chair import Chair
from tests.node.conftest import Node

pytestmark = pytest.mark.browser
PIN, ADAS_PIN = "864209", "975310"


@pytest.fixture
def clinic(tmp_path, monkeypatch):
    monkeypatch.setenv("THREEMARK_DEMO", "no")
    node = Node("clinic", tmp_path / "clinic")
    yield node.start(wait=False)
    node.end()


def choose_pin(page, pin, button):
    page.locator("[name=pin]").fill(pin)
    page.locator("[name=again]").fill(pin)
    page.get_by_role("button", name=button).click()


def test_set_up_by_the_link_somebody_added_a_tablet_paired_by_the_symbol_and_signed_in_on(browser, clinic):
    desk, chairside = (browser.new_context(viewport={"width": 1024, "height": 768}) for _ in range(2))
    page = desk.new_page()
    page.goto(clinic.url)
    expect(page.get_by_text("Look at the window in which the server was started")).to_be_visible()
    page.goto(re.search(r"http://\S+/set-up\?code=\S+", clinic.said())[0])
    page.get_by_label("Name of the clinic").fill("Green Door Practice")
    page.get_by_label("Time zone").fill("Europe/Lisbon")
    page.get_by_label("Chairs").fill("1\n2")
    page.get_by_label("Your name").fill("Noor Haddad")
    choose_pin(page, PIN, "Set up")

    page.get_by_role("link", name="Add somebody").click()
    page.locator("[name=name]").fill("Ada Lindqvist")
    page.get_by_role("radio", name="Clinician", exact=True).check()
    page.get_by_role("button", name="Add, and make a link").click()
    link = page.locator(".tm-link").inner_text()
    page.goto(f"{clinic.url}/tablets")
    page.get_by_role("button", name="Pair a tablet").click()
    symbol = page.get_by_role("img", name="Symbol of the pairing code")
    expect(symbol).to_be_visible()
    read = zxingcpp.read_barcode(Image.open(BytesIO(symbol.screenshot()))).text

    tablet = chairside.new_page()
    tablet.goto(link)
    choose_pin(tablet, ADAS_PIN, "Keep this PIN")
    expect(tablet.get_by_text("Ada Lindqvist")).to_be_visible()
    tablet.goto(read)
    tablet.get_by_label("Name of this tablet").fill("Chair 1")
    tablet.locator(".pair-now").click()
    hand = Chair(tablet, {})
    hand.sign_in("ada-lindqvist", ADAS_PIN)
    expect(tablet.locator(".new-visit")).to_be_visible()
    page.reload()
    expect(page.locator(".tm-device")).to_have_count(1)
    for context in (desk, chairside):
        context.close()
