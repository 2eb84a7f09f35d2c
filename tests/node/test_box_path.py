"""The assistant's whole path in a real browser, at a chair node whose clinic server is down."""

from io import BytesIO

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import expect

from chairapp.box.code import shown

pytestmark = pytest.mark.browser


@pytest.fixture
def page(browser):
    context = browser.new_context(viewport={"width": 1024, "height": 768})
    page = context.new_page()
    wrong = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.add_init_script("window.print = () => { window.wasPrinted = true }")
    yield page
    context.close()
    assert wrong == []


@pytest.fixture
def visit(chair, clinic, tablet):
    """A signed and packed visit at the chair node; the clinic server dies before anything is done with its box."""
    entries = tablet.visit(chair)
    assert tablet.hand_in(chair, entries)["refused"] == []
    clinic.kill()
    return entries


def test_from_the_queue_to_the_try_in_with_the_clinic_server_down(page, chair, tablet, visit):
    code = visit[0]["value"]["box"]
    page.goto(f"{chair.url}/label")
    page.get_by_role("link", name=shown(code)).click()
    expect(page.get_by_role("listitem").filter(has_text="jaw relation record")).to_be_visible()
    _disinfect_for_longer(page)
    page.get_by_role("button", name="Print", exact=True).click()
    page.wait_for_function("window.wasPrinted")
    (found,) = zxingcpp.read_barcodes(Image.open(BytesIO(page.locator(".tm-preview svg").screenshot())).convert("L"))

    page.goto(f"{chair.url}/boxes")
    scan(page, found.text)
    _press(page, "Sent to the laboratory")
    scan(page, code.lower())
    expect(page.get_by_text("At the laboratory")).to_be_visible()
    _press(page, "Back from the laboratory")
    scan(page, shown(code))
    _press(page, "At the chair")
    scan(page, code)
    page.get_by_role("link", name="Note the try-in").click()
    _fill_in_the_try_in(page)
    expect(page.get_by_text("Midline to be corrected: 1 mm to the right")).to_have_count(2)
    page.get_by_role("button", name="Take back “at the chair”").click()
    expect(page.get_by_text("Taken back")).to_be_visible()

    _the_next_thing_lies_under_the_thumb(page)
    made = _made_at_the_desk(chair, tablet, visit)
    assert [(entry["kind"], _what(entry)) for entry in made] == [
        ("answer", "packing.minutes"),
        ("printed", ""),
        ("movement", "laboratory"),
        ("movement", "clinic"),
        ("movement", "chair"),
        ("outcome", ""),
        ("movement", ""),
    ]
    assert {entry["author"] for entry in made} == {"asst-1"}


def scan(page, text):
    """As a scanner does that acts as a keyboard: into whatever has the focus, then Enter."""
    expect(page.locator(".tm-search input")).to_be_focused()
    page.keyboard.type(text)
    page.keyboard.press("Enter")


def _what(entry):
    return entry["value"].get("to", "") if isinstance(entry["value"], dict) else entry["item"]


def _disinfect_for_longer(page):
    page.get_by_role("link", name="Packing and disinfection").click()
    page.get_by_label("Minutes of disinfection").fill("12 min")
    page.get_by_role("button", name="Keep it").click()
    expect(page.get_by_role("status")).to_contain_text("'12 min' is not a number")
    expect(page.get_by_label("Minutes of disinfection")).to_have_value("12 min")
    page.get_by_label("Minutes of disinfection").fill("12")
    page.get_by_role("button", name="Keep it").click()
    expect(page.get_by_role("definition").filter(has_text="intermediate level, 12 min")).to_be_visible()


def _press(page, name):
    expect(page.locator(".tm-next")).to_have_text(name)
    page.get_by_role("button", name=name, exact=True).click()
    expect(page.get_by_text(f"Recorded: {name.lower()}")).to_be_visible()
    page.goto(page.url.partition("/B/")[0] + "/boxes")


def _fill_in_the_try_in(page):
    page.get_by_role("button", name="Keep it").click()
    expect(page.get_by_role("status")).to_contain_text("Vertical dimension: say whether")
    for group in ("Vertical dimension", "Centric relation", "Plane", "Display"):
        page.get_by_role("group", name=group).get_by_label("Right").check()
    page.get_by_role("group", name="Midline").get_by_label("To be corrected").check()
    page.get_by_role("group", name="Jaw relation record").get_by_label("Record stands").check()
    page.get_by_role("button", name="Keep it").click()
    expect(page.get_by_role("status")).to_contain_text("Why: say in a word")
    page.get_by_label("Why, in a word").fill("1 mm to the right")
    page.get_by_role("button", name="Keep it").click()


def _the_next_thing_lies_under_the_thumb(page):
    page.set_viewport_size({"width": 390, "height": 844})
    page.reload()
    button = page.get_by_role("button", name="At the chair", exact=True)
    expect(button).to_be_in_viewport(ratio=1)
    assert button.bounding_box()["y"] > 844 * 0.75
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def _made_at_the_desk(chair, tablet, visit):
    held = tablet.get(chair, f"/sync/entries?visit={visit[0]['visit']}").json()["entries"]
    return [entry for entry in held if entry["device"] != tablet.id]
