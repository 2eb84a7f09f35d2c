"""A clinician's hand on the tablet page: everything it does is a tap or a key, everything it knows is on the screen."""

import json
from collections.abc import Mapping
from typing import Any

from playwright.sync_api import Locator, Page

from chairapp.people.demo import DEMO_PIN
from tests.browser.conftest import until

Answers = Mapping[str, Any]
STATE = "(name) => import('tm_state').then((page) => JSON.stringify(page.desk[name]))"


class Chair:
    """`answers` says what is given to each item; an item it does not name is passed over with Next."""

    def __init__(self, page: Page, answers: Answers) -> None:
        self.page, self.answers = page, answers

    def sign_in(self, staff: str, pin: str = DEMO_PIN) -> None:
        """By the names on the screen, else by the name at the top right. The first time needs the network."""
        if not self.page.locator("[data-staff], .strip .who").first.is_visible():
            self.page.locator("[data-staff], .strip .who").first.wait_for()
        if not self.page.locator("[data-staff]").count():
            self.page.locator(".strip .who").click()
        self.page.locator(f'[data-staff="{staff}"]').click()
        self.type_pin(pin)
        until(lambda: self.author() == staff, f"{staff} to be signed in")

    def type_pin(self, pin: str) -> None:
        for digit in pin:
            self.page.locator(f".pin-keys .key-k{digit}").click()
        self.page.locator(".enter").click()

    def author(self) -> Any:
        return json.loads(self.page.evaluate(STATE, "author"))

    def open_visit(self, chair: str) -> str:
        """A new visit; gives its id."""
        self.page.locator(".new-visit").click()
        self.page.locator(f'.new [data-value="{chair}"]').click()
        self.page.locator(".open-visit").click()
        until(lambda: len(self.route()) == 4, "the first question of the visit")
        return self.route()[1]

    def route(self) -> list[str]:
        return str(self.page.evaluate("location.hash")).removeprefix("#/").split("/")

    @property
    def item(self) -> str:
        return [*self.route(), "", "", ""][3]

    def walk(self, last: str) -> None:
        """Answer the question on the screen and go on with Next, until `last` is answered."""
        while True:
            item = self.item
            self.answer(item)
            if item == last:
                return
            self.page.locator(".next").click()
            until(lambda was=item: self.item not in ("", was), f"the question after {item}")

    def walk_proposed(self, until_step: str = "review") -> None:
        """Go where the rail proposes and answer what waits there, until it proposes `until_step`."""
        while (step := self.proposed()) != until_step:
            self.page.locator(".rail .is-proposed").click()
            until(lambda step=step: self.route()[2:3] == [step] and self.item, f"a question of {step}")
            for item in self.waiting():
                self.go(item)
                self.answer(item)
            until(
                lambda step=step: self.proposed() != step, f"{step} to be done; it is {self.verdict()['steps'][step]}"
            )

    def waiting(self) -> list[str]:
        """Items of the step on the screen that are stale or open and that this hand has an answer for."""
        pips = self.page.locator("a.pip-stale, a.pip-open").evaluate_all(
            "all => all.map((one) => one.hash.split('/').pop())"
        )
        return [item for item in pips or [self.item] if item in self.answers]

    def proposed(self) -> str:
        return str(self.page.locator(".rail .is-proposed").get_attribute("data-step"))

    def go(self, item: str) -> None:
        """To another question of the same step."""
        if self.item != item:
            self.page.locator(f'a.pip[href$="/{item}"]').click()
            until(lambda: self.page.locator(f'.question[data-item="{item}"]').count(), f"the question {item}")

    def answer(self, item: str) -> None:
        value = self.answers.get(item)
        if value is None:
            return
        if isinstance(value, dict):
            self.stations(value)
        elif isinstance(value, list) and isinstance(value[0], str):
            for one in value:
                self.choose(one)
        elif isinstance(value, list):
            for number in value:
                self.read(number)
        elif isinstance(value, str):
            self.choose(value)
        else:
            self.read(value)
        until(lambda: self.settled()["items"][item]["status"] == "fresh", f"{item} to be judged")

    def choose(self, value: str) -> None:
        button = self.question.locator(f'.choice[data-value="{value}"]')
        button.click()
        until(lambda: button.get_attribute("aria-pressed") == "true", f"{value} to be given")

    def read(self, number: float) -> None:
        self.type(str(number))
        until(lambda: self.field.input_value() == "", f"{number} to be taken")

    def type(self, text: str) -> None:
        """The pad's own keys for what they can write, the keyboard for what only a keyboard can."""
        keys = {"-": ".key-sign", ".": ".key-point"}
        if text.strip("0123456789.-"):
            self.field.fill(text)
        else:
            for character in text.lstrip("-") + "-" * text.startswith("-"):
                self.page.locator(keys.get(character, f".key-k{character}")).click()
        self.page.locator(".keypad .take").click()

    def stations(self, values: Mapping[str, Any]) -> None:
        for station, value in values.items():
            self.page.locator(f'.rim-map [data-station="{station}"]').first.click()
            if value is not True:
                self.read(value)

    def withdraw_last_reading(self) -> None:
        shown = self.page.locator(".reading")
        count = shown.count()
        shown.last.locator("button").click()
        until(lambda: shown.count() == count - 1, "the reading to be taken back")

    def change_wax(self, rim: str, surface: str, way: str, stations: Mapping[str, float]) -> None:
        self.page.locator(".rail .wax").click()
        self.page.locator(".record-change").click()
        for choice in (rim, surface, way):
            self.page.locator(f'.segment [data-value="{choice}"]').click()
        self.stations(stations)
        count = len(self.settled()["adjustments"])
        self.page.locator(".record").click()
        until(lambda: len(self.settled()["adjustments"]) == count + 1, "the change of wax to be kept")

    def accept(self, step: str, reason: str) -> None:
        self.page.locator(f'.rail [data-step="{step}"]').click()
        self.page.locator('[href^="#/accept"]').first.click()
        self.page.locator("textarea").fill(reason)
        self.page.locator(".accept-keep").click()
        until(lambda: self.verdict()["steps"][step]["verdict"] == "accepted", f"{step} to be accepted")

    def sign(self) -> None:
        self.page.locator('.rail [data-step="review"]').click()
        self.page.locator(".sign").click()
        until(lambda: any(one["valid"] for one in self.settled()["signatures"]), "a valid signature")

    @property
    def question(self) -> Locator:
        return self.page.locator(".question")

    @property
    def field(self) -> Locator:
        return self.page.locator(".field input")

    def settled(self) -> Any:
        return self._desk("state")

    def verdict(self) -> Any:
        return self._desk("verdict")

    def entries(self) -> Any:
        return self._desk("entries")

    def pending(self) -> int:
        return int(self.page.locator(".lamp").get_attribute("data-pending") or 0)

    def _desk(self, name: str) -> Any:
        """What the page itself holds: read, never changed. Waits while the visit is being loaded."""
        return until(lambda: json.loads(self.page.evaluate(STATE, name) or "null"), f"{name} of the visit")
