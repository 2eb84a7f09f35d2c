"""The tablet in another language: its own before a visit, the visit's as long as one is open."""

import json
import re

import pytest
from playwright.sync_api import Page, Route

from chairapp.people.demo import demo_clinic
from chairapp.sequence import document, jaw_relation
from tests.browser.chair import Chair
from tests.browser.conftest import until
from tests.browser.test_accessible import faults, show
from tests.browser.test_walk import to
from tests.pseudo import LANGUAGE, in_pseudo, plain_words

SIZE = {"width": 1024, "height": 768}
CONFIG = re.compile(r'(<script type="application/json" id="tm-config">)(.*?)(</script>)', re.DOTALL)
LEARN = """async ([language, texts]) => {
  const { desk, documentOf } = await import("tm_state");
  const held = await documentOf(desk.clinic?.sequence);
  if (held) held.texts[language] = texts;
  if (held) desk.languages = [...desk.clinic.languages];
  return held !== null;
}"""
SAID = """() => {
  const shown = (element) => element.checkVisibility({ visibilityProperty: true }) && !element.closest("script, style");
  const words = [], walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode())
    if (shown(node.parentElement)) words.push(node.data);
  for (const element of document.querySelectorAll("[aria-label], [title], [placeholder], [alt]"))
    if (shown(element))
      for (const name of ["aria-label", "title", "placeholder", "alt"]) words.push(element.getAttribute(name) ?? "");
  return words.join("\\n");
}"""
CLINIC = demo_clinic("0" * 64, "rims.example")
NAMES = {CLINIC.clinic, *CLINIC.chairs, *(person.name for person in CLINIC.staff), "Tablet"}
LANGUAGE_NAMES = {"English", "Español", "Pseudo-Accents"}
STEPS = [
    ("seating", "seating.points"),
    ("lip", "lip.support"),
    ("plane", "plane.front"),
    ("contact", "contact.gap"),
    ("vertical", "vertical.rest"),
    ("packing", "packing.items"),
]
DATE = re.compile(r"\b[A-Z][a-z]{2},? (\d{1,2} [A-Z][a-z]{2}|[A-Z][a-z]{2} \d{1,2})(?=, \d\d:\d\d)")
"""As `when` of the page writes one in an English nobody speaks: 'Tue, Nov 24, 09:30'."""
LOOKED_AT = {"lip.support", "plane.front", "wax", "review"}
"""What axe-core is shown as well."""


def language_of(page: Page) -> str:
    return str(page.evaluate("document.documentElement.lang"))


def open_in(hand: Chair, language: str) -> None:
    hand.page.locator(".new-visit").click()
    hand.page.locator('.new [data-value="1"]').click()
    hand.page.locator(f'.new [data-value="{language}"]').click()
    hand.page.locator(".open-visit").click()
    until(lambda: hand.item and language_of(hand.page) == language, f"a question in {language}")


def test_a_tablet_keeps_its_language_and_a_visit_has_its_own_with_numbers_as_it_writes_them(clinic, tablets):
    tablet = tablets(viewport=SIZE)
    page = tablet.open(f"{clinic}/chair")
    hand = Chair(page, {})
    page.locator('[data-language="es"]').click()
    page.get_by_role("heading", name="¿Quién está en esta tableta?").wait_for()
    page.reload()
    page.get_by_role("heading", name="¿Quién está en esta tableta?").wait_for()
    hand.sign_in("clin-1")
    open_in(hand, "en")
    assert hand.page.locator("h1").inner_text().startswith("How does the patient sit?")

    page.evaluate("location.hash = '#/'")
    until(lambda: language_of(page) == "es" and page.locator(".new-visit").count(), "the tablet's own language again")
    open_in(hand, "es")
    to(hand, "vertical", "vertical.rest")
    for typed in ("70,5", "71.5"):
        hand.field.fill(typed)
        page.locator(".keypad .take").click()
        page.locator(".reading", has_text=typed.replace(".", ",")).wait_for()
    assert page.locator(".key-point").inner_text() == ","
    until(lambda: hand.settled()["items"]["vertical.rest"]["value"] == 71, "the readings to be judged")
    assert [one["value"] for one in hand.settled()["items"]["vertical.rest"]["readings"]] == [70.5, 71.5]
    assert page.evaluate(TOLD) == (
        "A esta tableta no le queda espacio. Libere espacio y vuelva a introducir la respuesta."
    )
    opened = next(one for one in json.loads(page.evaluate(ENTRIES)) if one["kind"] == "opened")
    assert opened["value"]["language"] == "es"
    assert tablet.errors == []


TOLD = """() => import("tm_words").then(({ told }) => told({
  why: "This tablet has no room left.", do: "Free some space on it, then enter the answer again." }))"""
ENTRIES = "import('tm_state').then(({ desk }) => JSON.stringify(desk.entries))"


@pytest.mark.timeout(300)
def test_nothing_on_the_screens_is_said_past_the_catalogues_and_longer_words_break_none_of_them(clinic, tablets):
    tablet = tablets(viewport=SIZE, reduced_motion="reduce", service_workers="block")  # it would fetch past the routes
    tablet.context.route("**/chair", teach_the_page)
    tablet.context.route("**/sync/clinic", teach_the_clinic)
    hand = Chair(tablet.open(f"{clinic}/chair"), {})
    hand.page.locator("[data-staff]").first.wait_for()
    learnt = [LANGUAGE, in_pseudo(document(jaw_relation())["texts"]["en"])]
    until(lambda: hand.page.evaluate(LEARN, learnt), "the sequence to be there")
    hand.page.locator(f'[data-language="{LANGUAGE}"]').click()
    until(lambda: language_of(hand.page) == LANGUAGE, "the language nobody speaks")
    plain = {"who is here": plain_on(hand.page)}
    hand.sign_in("clin-1")
    for place in ("", "new", "data"):
        show(hand, place)
        plain[place] = plain_on(hand.page)
    show(hand, "")
    open_in(hand, LANGUAGE)
    visit, wrong = hand.route()[1], {}
    for step, item in STEPS:
        to(hand, step, item)
        if item == "lip.support":
            hand.choose("strained")
            until(lambda: hand.verdict()["steps"]["lip"]["verdict"] == "off", "the lip to be off")
        look(hand, item, plain, wrong)
    for name, place in {"wax": "wax", "change": "change", "accept": "accept", "review": "walk"}.items():
        tail = {"accept": "/lip", "review": "/review/review"}.get(name, "")
        show(hand, f"{place}/{visit}{tail}")
        look(hand, name, plain, wrong)
    assert {place: found for place, found in plain.items() if found} == {}
    assert {place: found for place, found in wrong.items() if found} == {}
    assert tablet.errors == []


def look(hand: Chair, name: str, plain: dict[str, object], wrong: dict[str, object]) -> None:
    plain[name] = plain_on(hand.page)
    if name in LOOKED_AT:
        wrong[name] = faults(hand.page)
    wider = hand.page.evaluate("document.documentElement.scrollWidth")
    wrong.setdefault(name, []).extend([] if wider <= SIZE["width"] else [f"{wider} px wide"])


def teach_the_page(route: Route) -> None:
    answer = route.fetch()

    def taught(found: re.Match[str]) -> str:
        config = json.loads(found[2])
        config["words"][LANGUAGE] = in_pseudo(config["words"]["en"])
        return found[1] + json.dumps(config, ensure_ascii=False).replace("<", "\\u003c") + found[3]

    route.fulfill(response=answer, body=CONFIG.sub(taught, answer.text()))


def teach_the_clinic(route: Route) -> None:
    answer = route.fetch()
    if answer.status != 200:
        return route.fulfill(response=answer)
    document = answer.json()
    return route.fulfill(response=answer, json={**document, "languages": [*document["languages"], LANGUAGE]})


def plain_on(page: Page) -> list[str]:
    """Plain words on the screen that are no name, no box code and no date, whose words are the browser's own."""
    said = re.sub(r"\b[0-9A-Z]{4}-[0-9A-Z]{4}\b", "", str(page.evaluate(SAID)))
    return plain_words(DATE.sub("", said), NAMES | LANGUAGE_NAMES)
