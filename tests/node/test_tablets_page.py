"""The manager's page of devices in a real browser, at a clinic server that is no demonstration."""

from io import BytesIO

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import expect

from chairapp.people.demo import DEMO_PIN
from tests.node.conftest import Node, invented_clinic

pytestmark = pytest.mark.browser


@pytest.fixture
def clinic(tmp_path):
    node = Node("clinic", invented_clinic(tmp_path / "clinic"), "--demo", "no")
    yield node.start()
    node.end()


def test_the_manager_signs_in_pairs_a_tablet_by_the_symbol_and_removes_it(browser, clinic):
    context = browser.new_context(viewport={"width": 1024, "height": 768})
    page = context.new_page()
    page.goto(f"{clinic.url}/tablets")
    page.get_by_role("link", name="Ines Falk").click()
    for digit in DEMO_PIN:
        page.get_by_role("button", name=digit, exact=True).click()
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Pair a tablet").click()
    symbol = page.get_by_role("img", name="Symbol of the pairing code")
    expect(symbol).to_be_visible()
    read = zxingcpp.read_barcode(Image.open(BytesIO(symbol.screenshot())))
    link, _, code = read.text.partition("#pair=")
    assert link.endswith("/chair")
    paired = clinic.http.post("/pair", json={"kind": "tablet", "name": "Chair 1", "code": code})
    token = {"Authorization": f"Bearer {paired.json()['token']}"}
    assert clinic.http.get("/sync/clinic", headers=token).status_code == 200

    page.reload()
    row = page.locator(".tm-device", has_text="Chair 1")
    row.get_by_role("button", name="Remove").click()
    expect(row.get_by_text("may still hand in")).to_be_visible()
    assert clinic.http.get("/sync/clinic", headers=token).status_code == 403
    row.get_by_role("button", name="Block now").click()
    expect(row.get_by_text("Blocked")).to_be_visible()
    context.close()
