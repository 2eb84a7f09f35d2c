"""The pages of a node in a real browser: home, queue, label, box page, audit."""

import subprocess
from io import BytesIO
from pathlib import Path
from shutil import which

import pytest
import zxingcpp
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import expect

from chairapp.box.code import shown
from tests.node.conftest import START_MS, until

pytestmark = pytest.mark.browser


@pytest.fixture
def page(browser):
    """A page that fails the test on any script error and on any request to another host."""
    context = browser.new_context(viewport={"width": 1024, "height": 768})
    page = context.new_page()
    wrong = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("request", lambda request: wrong.append(request.url) if not _own(request.url) else None)
    yield page
    context.close()
    assert wrong == []


def _own(url):
    return url.startswith(("http://127.0.0.1:", "data:", "blob:"))


@pytest.fixture(scope="module")
def visits(chair, clinic, tablet):
    """One visit signed and packed, one signed and not packed, one open: at both nodes."""
    made = {
        name: tablet.visit(chair, file, START_MS + number * 7_200_000)
        for number, (name, file) in enumerate(
            {"packed": "01_all_fits", "unpacked": "07_marks_too_close", "open": "04_tilted_plane"}.items()
        )
    }
    for entries in made.values():
        assert tablet.hand_in(chair, entries)["refused"] == []
    last = made["open"][0]["visit"]
    until(lambda: len(tablet.held(clinic, last)) == len(made["open"]), "the visits are at the clinic server")
    return made


def box(entries):
    return entries[0]["value"]["box"]


@pytest.fixture
def printed(chair, tablet):
    """The `printed` entries of a visit at the chair node."""

    def printed(entries):
        answer = tablet.get(chair, f"/sync/entries?visit={entries[0]['visit']}")
        return [entry for entry in answer.json()["entries"] if entry["kind"] == "printed"]

    return printed


def test_the_front_door_has_one_sentence_and_three_ways_in(page, chair, clinic):
    page.goto(chair.url)
    expect(page.locator("h1")).to_have_count(1)
    ways = page.locator("a.tm-way")
    assert [way.get_attribute("href") for way in ways.all()] == ["/chair", "/label", f"{clinic.url}/audit"]
    expect(page.get_by_text("are invented")).to_be_visible()


def test_the_queue_shows_signed_visits_only_those_without_a_label_first(page, chair, visits):
    page.goto(f"{chair.url}/label")
    expect(page.get_by_role("heading", name="To label")).to_be_visible()
    listed = page.locator("a.tm-row .tm-code").all_text_contents()
    assert shown(box(visits["packed"])) in listed
    assert shown(box(visits["unpacked"])) in listed
    assert shown(box(visits["open"])) not in listed


def test_a_visit_signed_meanwhile_shows_up_by_itself_and_what_is_typed_stays(page, chair, tablet, visits):
    page.goto(f"{chair.url}/label")
    page.get_by_label("Box code").fill("7KQ4")
    entries = tablet.visit(chair, start=START_MS + 50_000_000)
    tablet.hand_in(chair, entries)
    expect(page.get_by_text(shown(box(entries)))).to_be_visible(timeout=15_000)
    expect(page.get_by_label("Box code")).to_have_value("7KQ4")


def test_a_label_is_printed_recorded_and_marked_when_the_packing_changes(page, chair, tablet, visits, printed):
    entries = visits["unpacked"]
    code = box(entries)
    page.goto(f"{chair.url}/label/{code}")
    page.evaluate("() => { window.print = () => { window.wasPrinted = true } }")
    page.get_by_role("button", name="Print", exact=True).click()
    page.wait_for_function("window.wasPrinted")
    (entry,) = printed(entries)
    assert entry["author"] == "asst-1"
    assert entry["value"]["digest"] == next(e for e in entries if e["kind"] == "signature")["value"]["digest"]

    page.goto(f"{chair.url}/B/{code}")
    expect(page.get_by_text("of an older record")).to_have_count(0)
    tablet.hand_in(chair, [_packed_later(tablet, entries)])
    page.goto(f"{chair.url}/b/{code.lower()}")
    expect(page.get_by_role("heading", name="The label is of an older record")).to_be_visible()
    page.goto(f"{chair.url}/label")
    expect(page.get_by_role("heading", name="The label is of an older record")).to_be_visible()


def _packed_later(tablet, entries):
    last = entries[-1]
    when = {"clock": [last["clock"][0] + 60_000, 0], "id": last["id"][:14] + "7fff" + last["id"][18:]}
    return last | when | {"kind": "answer", "item": "packing.items", "value": ["upper_rim", "lower_rim"], "of": None}


def test_a_label_printed_again_wants_a_reason(page, chair, visits, printed):
    entries = visits["packed"]
    page.goto(f"{chair.url}/label/{box(entries)}")
    page.evaluate("() => { window.print = () => { window.wasPrinted = true } }")
    page.get_by_role("button", name="Print", exact=True).click()
    page.wait_for_function("window.wasPrinted")

    page.get_by_role("button", name="SVG").click()
    expect(page.get_by_role("status")).to_contain_text("Say why it is printed again")
    with page.expect_download() as saved:
        page.get_by_label("Why again?").fill("smudged")
        page.get_by_role("button", name="PNG 203 dpi").click()
    assert [entry["value"]["reason"] for entry in printed(entries)] == [None, "smudged"]
    found = zxingcpp.read_barcodes(Image.open(Path(saved.value.path())).convert("L"))
    assert [one.text for one in found] == [f"HTTP://{chair_label(chair)}/B/{box(entries)}"]


def chair_label(chair):
    return chair.pair().clinic["label_address"]


def test_the_label_on_the_screen_reads_back_and_opens_the_box_page(page, chair, visits):
    page.goto(f"{chair.url}/label/{box(visits['packed'])}")
    picture = page.locator(".tm-preview svg").screenshot()
    (found,) = zxingcpp.read_barcodes(Image.open(BytesIO(picture)).convert("L"))
    path = found.text.partition("://")[2].partition("/")[2]
    page.goto(f"{chair.url}/{path}")
    expect(page.locator("h1")).to_have_text(shown(box(visits["packed"])))
    expect(page.get_by_text("upper rim, lower rim")).to_be_visible()


@pytest.mark.skipif(which("pdftoppm") is None, reason="no pdftoppm here to look at the print")
def test_only_the_label_is_printed_in_its_own_size(page, chair, visits, tmp_path):
    code = box(visits["packed"])
    page.goto(f"{chair.url}/label/{code}")
    expect(page.locator(".tm-preview svg")).to_be_visible()
    page.pdf(path=tmp_path / "printed.pdf", prefer_css_page_size=True)
    subprocess.run(["pdftoppm", "-r", "300", "-png", "printed.pdf", "sheet"], cwd=tmp_path, check=True)
    (sheet,) = tmp_path.glob("sheet*.png")
    picture = Image.open(sheet).convert("L")
    assert [round(side / 300 * 25.4) for side in picture.size] == [57, 32]
    assert zxingcpp.read_barcodes(picture)[0].text.endswith(f"/B/{code}")
    ink = picture.point(lambda grey: 255 * (grey < 128)).getbbox()
    assert all(edge / 300 * 25.4 >= 2.8 for edge in ink[:2])
    assert ink[2] / 300 * 25.4 <= 57 - 2.8
    assert ink[3] / 300 * 25.4 <= 32 - 2.8


def test_an_unsigned_visit_gets_no_label_and_says_why(page, chair, visits):
    page.goto(f"{chair.url}/label/{box(visits['open'])}")
    expect(page.get_by_text("needs a valid signature")).to_be_visible()
    expect(page.get_by_role("button", name="Print", exact=True)).to_have_count(0)


def test_a_code_with_a_slip_is_refused_with_the_near_one_to_choose(page, chair, visits):
    code = box(visits["packed"])
    slip = code[:6] + ("C" if code[6] != "C" else "D") + code[7:]
    answer = page.goto(f"{chair.url}/B/{slip}")
    assert answer.status == 404
    expect(page.get_by_text("has a slip")).to_be_visible()
    page.get_by_role("link", name=shown(code)).click()
    expect(page.locator("h1")).to_have_text(shown(code))


def test_the_manager_sees_signed_and_open_visits_and_the_trail_of_one(page, clinic, visits):
    page.goto(f"{clinic.url}/audit")
    expect(page.locator("a.tm-row", has_text=shown(box(visits["open"])))).to_contain_text("in progress")
    page.get_by_role("link", name=shown(box(visits["unpacked"]))).click()
    expect(page.get_by_text("Signed by")).to_be_visible()
    expect(page.get_by_role("heading", name="Accepted outside its band")).to_be_visible()
    expect(page.get_by_role("cell", name="Visit opened")).to_be_visible()
    expect(page.get_by_text("as clinician, record")).to_be_visible()


def test_the_audit_is_at_the_clinic_server_only(page, chair):
    assert page.goto(f"{chair.url}/audit").status == 404


def test_what_a_person_typed_is_never_markup(page, chair, clinic, tablet, visits):
    entries = tablet.visit(chair, "04_tilted_plane", START_MS + 90_000_000, chair='<img src=x onerror="alert(1)">')
    note = entries[-1] | {"kind": "note", "item": "plane", "value": "<script>window.broken = 1</script>", "of": None}
    note |= {"id": note["id"][:14] + "7fff" + note["id"][18:], "clock": [note["clock"][0] + 1, 0]}
    assert tablet.hand_in(chair, [*entries, note])["refused"] == []
    visit = entries[0]["visit"]
    until(lambda: len(tablet.held(clinic, visit)) == len(entries) + 1, "the visit is at the clinic server")
    for url in (f"{chair.url}/B/{box(entries)}", f"{clinic.url}/audit", f"{clinic.url}/audit/{visit}"):
        page.goto(url)
        expect(page.get_by_text("onerror").locator("visible=true").first).to_be_visible()
        assert page.evaluate("window.broken") is None
        assert page.locator("main img").count() == 0


@pytest.mark.parametrize(("width", "height"), [(1024, 768), (768, 1024), (390, 844)])
def test_no_page_is_wider_than_the_screen(page, chair, clinic, visits, width, height):
    page.set_viewport_size({"width": width, "height": height})
    code, visit = box(visits["packed"]), visits["packed"][0]["visit"]
    for url in ("/", "/label", f"/label/{code}", "/boxes", *_pages_of_a_box(code), "/B/7KQ4"):
        page.goto(chair.url + url)
        expect(page.locator("h1").first).to_be_visible()
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), url
    for url in ("/audit", f"/audit/{visit}"):
        page.goto(clinic.url + url)
        expect(page.locator("h1").first).to_be_visible()
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), url


def _pages_of_a_box(code):
    return [f"/B/{code}{page}" for page in ("", "/prescription", "/packing", "/outcome")]


def test_axe_finds_nothing_wrong_with_the_assistants_pages(page, chair, visits):
    code = box(visits["packed"])
    for url in ("/label", f"/label/{code}", "/boxes", *_pages_of_a_box(code), "/B/7KQ4"):
        page.goto(chair.url + url)
        expect(page.locator("h1").first).to_be_visible()
        found = Axe().run(page).response["violations"]
        assert [(url, one["id"], one["nodes"][0]["html"]) for one in found] == []
