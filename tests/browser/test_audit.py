"""The practice manager at the clinic server: each question answered in at most three taps, every page by the rules."""

import time

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import expect

from chairapp.box.code import new_code, shown
from chairapp.people.demo import DEMO_PIN
from sync.sql_store import SqlStore
from tests.audit.conftest import DAY_MS, MORNING, visit
from tests.browser.test_accessible import RULES, RUN
from tests.chromium import ARGS, CHROMIUM

SIGNED = {"kind": "signature", "item": "review", "value": {"role": "clinician"}}
LATE = {"kind": "answer", "item": "display.fv", "value": "short"}
RIGHT = dict.fromkeys(("vertical", "centric", "plane", "midline", "display"), "right")
CODES = {name: new_code("9") for name in ("complete", "accepted", "missing", "changed", "overdue", "live")}


def box(place):
    return {"kind": "movement", "item": "box", "value": {"to": place}}


def tried_in(repeat):
    value = RIGHT | {"repeat": repeat, "why": "closes too low" if repeat else ""}
    return {"kind": "outcome", "item": "try_in", "value": value}


def accepted(reason="long lip"):
    return {"kind": "acceptance", "item": "display", "value": reason}


def check(value):
    return {"kind": "check", "item": "vertical.rest", "value": value, "author": "clin-2"}


def made(name, days, *more, **changed):
    """The visit of this name, opened so many days ago."""
    now = (time.time() * 1000 - MORNING) / DAY_MS
    return visit(*more, name=name, days=now - days, box=CODES.get(name) or new_code("9"), **changed)


def visits():
    yield made("complete", 1, SIGNED)
    yield made("accepted", 2, accepted(), SIGNED, display__rest=[3])
    yield made("missing", 3, SIGNED, lip__support=None)
    yield made("changed", 4, SIGNED, LATE)
    yield made("overdue", 30, SIGNED, box("laboratory"))
    for n in range(10):
        rest = [70 + (n % 3) / 2, 70, 70.5]
        sent = [box("laboratory"), box("clinic"), tried_in(n < 2), box("finished")]
        yield made(f"plain {n}", 5 + n, check(70.5), SIGNED, *sent, vertical__rest=rest)
        yield made(f"taken {n}", 5 + n, accepted(f"reason {n % 2}"), SIGNED, *sent, display__rest=[3])


@pytest.fixture(scope="module")
def store(clinic, clinic_data):
    """The store of the clinic server, filled; the server notices by itself."""
    store = SqlStore(f"sqlite:///{clinic_data}/clinic.sqlite")
    for entries in visits():
        store.add(entries)
    yield store
    store.close()


@pytest.fixture(scope="module")
def manager(playwright, clinic, store):
    """A browser in which the manager is signed in. No script error may come up, and no request leave the clinic."""
    browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
    page = browser.new_context(viewport={"width": 1024, "height": 768}).new_page()
    wrong = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on(
        "request", lambda asked: None if asked.url.startswith((clinic, "data:", "blob:")) else wrong.append(asked.url)
    )
    page.context.request.post(f"{clinic}/sign-in", form={"person": "mgr-1", "pin": DEMO_PIN, "then": "/audit"})
    yield page
    browser.close()
    assert wrong == []


@pytest.fixture
def page(manager, clinic):
    """The manager's first page, with every visit summed up."""
    manager.goto(f"{clinic}/audit")
    expect(manager.locator(".tm-as-of", has_text="As of")).not_to_contain_text("being taken in", timeout=30_000)
    return manager


def row(page, name):
    return page.locator("a.tm-row", has_text=shown(CODES[name]))


def test_what_is_complete_accepted_missing_or_late_is_one_tap_away(page, clinic):
    for tile, name, says in (
        ("Signed and complete", "complete", "signed"),
        ("Accepted outside its band", "accepted", "Display and F/V accepted by Dr Ada Lindqvist: long lip"),
        ("Signed, something missing", "missing", "Missing: Lip support"),
        ("Box overdue", "overdue", "box overdue"),
        ("Changed after signing", "changed", "changed after signing"),
    ):
        page.goto(f"{clinic}/audit")
        page.locator("a.tm-tile", has_text=tile).click()
        expect(row(page, name)).to_contain_text(says)
        expect(row(page, "complete" if name != "complete" else "missing")).to_have_count(0)


def test_what_changed_after_signing_is_two_taps_away_with_the_whole_trail(page):
    page.locator("a.tm-tile", has_text="Changed after signing").click()
    row(page, "changed").click()
    note = page.locator(".tm-note", has_text="Changed after signing")
    expect(note).to_contain_text("then came: Edge in F and V, by Dr Ada Lindqvist")
    expect(note).to_contain_text("covers the very entries it says")
    expect(page.locator(".tm-step", has_text="Display and F/V")).to_contain_text("when signed")
    trail = page.get_by_role("region", name="Trail")
    expect(trail).to_contain_text("Stays short of it")
    expect(trail).to_contain_text("in place of: Touches the wet-dry line")
    faults = page.evaluate(AXE_SCRIPT + "; null") or page.evaluate(RUN, RULES)
    assert faults == []


@pytest.mark.parametrize(
    ("part", "says"),
    [
        ("Completeness", "reason 0"),
        ("Steadiness", "Individuals chart"),
        ("Outcomes", "percentage points"),
        ("Agreement", "Limits of agreement"),
    ],
)
def test_every_figure_is_two_taps_away_as_a_table_and_keeps_the_rules(page, part, says):
    page.get_by_role("navigation", name="Audit").get_by_role("link", name="Figures").click()
    page.get_by_role("navigation", name="Figures").get_by_role("link", name=part).click()
    expect(page.get_by_role("heading", level=1, name=part)).to_be_visible()
    if part == "Steadiness":
        expect(page.get_by_role("img", name=says).locator("svg")).to_be_visible()
    else:
        expect(page.locator(".tm-main")).to_contain_text(says)
    page.evaluate(AXE_SCRIPT + "; null")
    assert page.evaluate(RUN, RULES) == []


def test_a_box_is_found_by_its_code_and_a_slip_is_not_corrected(page):
    field = page.get_by_label("Box code")
    field.fill(CODES["accepted"][:7])
    field.press("Enter")
    expect(page.get_by_role("heading", name="No box by that code")).to_be_visible()
    page.get_by_role("link", name=shown(CODES["accepted"])).click()
    expect(page.get_by_role("heading", level=1, name=shown(CODES["accepted"]))).to_be_visible()


def test_what_comes_in_is_listed_by_itself(page, store):
    expect(row(page, "live")).to_have_count(0)
    store.add(made("live", 0))
    expect(row(page, "live")).to_contain_text("in progress", timeout=20_000)


def test_a_filter_is_saved_under_a_name_for_this_manager(page):
    page.locator("a.tm-tile", has_text="Box overdue").click()
    page.get_by_text("Save this filter").click()
    page.get_by_label("Name").fill("late boxes")
    page.get_by_role("button", name="Save", exact=True).click()
    link = page.get_by_role("link", name="late boxes")
    expect(link).to_have_attribute("href", "/audit?only=overdue")
    page.get_by_role("button", name="Remove the filter late boxes").click()
    expect(link).to_have_count(0)


def test_the_pages_of_the_house_keep_the_rules_and_the_chain_is_checked_on_demand(page, clinic):
    page.evaluate(AXE_SCRIPT + "; null")
    assert page.evaluate(RUN, RULES) == []
    page.get_by_role("link", name="Tablets and nodes").click()
    expect(page.get_by_role("heading", name="Refused entries")).to_be_visible()
    page.evaluate(AXE_SCRIPT + "; null")
    assert page.evaluate(RUN, RULES) == []
    page.get_by_role("link", name="Integrity").click()
    page.get_by_role("button", name="Check now").click()
    expect(page.locator(".tm-note")).to_contain_text("signatures hold", timeout=30_000)
    page.evaluate(AXE_SCRIPT + "; null")
    assert page.evaluate(RUN, RULES) == []


def test_what_cannot_be_asked_is_said_in_a_line(page, clinic):
    page.goto(f"{clinic}/audit?since=tomorrow")
    expect(page.get_by_role("alert")).to_contain_text("Since: 'tomorrow' is no day, write it as 2026-12-31")
