"""The page a label leads to: where the box is, the one thing to do next, and what its record says."""

import asyncio
from collections.abc import Callable
from typing import Any, Literal

from markupsafe import Markup
from nicegui import ui

from chairapp.box.code import shown
from chairapp.box.controls import Told, button, note, when, who
from chairapp.box.desk import Box, Desk
from chairapp.box.errors import BoxError
from chairapp.box.movement import HERE, MOVES, Next
from chairapp.box.outcome import told
from chairapp.box.record import BoxRecord
from chairapp.clinic import ClinicDocument
from chairapp.elements.frame import Frame, chip, html
from chairapp.elements.verdicts import tally

__all__ = ["BoxCard", "two_boxes"]


Done = Literal["moved", "taken back"]


class BoxCard:
    """Built once for a page.

    What was just done takes the place of the button that did it: a finger that taps twice must not move a box twice.
    """

    def __init__(self, desk: Desk, frame: Callable[[], Frame], box: Box) -> None:
        self._desk = desk
        self._frame = frame
        self._box = box
        self._done: Done | None = None

    def build(self) -> None:
        code = shown(self._box.record.code)
        html(Markup('<p class="tm-soft">Case box</p><h1 class="tm-code tm-apart">{}</h1>').format(code))
        self._where()
        self._rest()

    @ui.refreshable_method
    def _where(self) -> None:
        box, clinic = self._box, self._desk.clinic()
        with ui.element("section").classes("tm-card tm-where"):
            html(_whereabouts(box, clinic))
            if self._done:
                html(note("fits", self._said(), f"Now: {box.where.name.lower()}. Scan the next box."))
            if box.next and self._done != "moved":
                with ui.element("div").classes("tm-next"):
                    self._next(box.next)
            self._told = Told()
            if box.record.signed or box.record.moved:
                self._small_ways()

    def _said(self) -> str:
        if self._done == "taken back":
            return "Taken back"
        return f"Recorded: {MOVES[self._box.record.moved[-1]['value']['to']].lower()}"

    def _next(self, act: Next) -> None:
        code = self._box.record.code
        page = {"label": f"/label/{code}", "outcome": f"/B/{code}/outcome"}.get(act.do)
        if page:
            html(Markup('<a class="tm-button tm-main-action" href="{}">{}</a>').format(page, act.word))
        else:
            button(act.word, lambda: self._move(act.do), "tm-main-action")

    def _small_ways(self) -> None:
        """Whatever is not the next thing: places out of turn, and the way back after a slip."""
        box = self._box
        with ui.element("details").classes("tm-more"):
            with ui.element("summary"):
                html(Markup("Something else"))
            with ui.element("div").classes("tm-buttons"):
                for to, word in MOVES.items():
                    if to != box.where.place and (self._done == "moved" or not box.next or to != box.next.do):
                        button(word, lambda _, to=to: self._move(to))
                if box.record.moved and (not box.next or box.next.do != "outcome"):
                    html(
                        Markup('<a class="tm-button" href="/B/{}/outcome">Note the try-in</a>').format(box.record.code)
                    )
        if box.record.moved and self._done != "taken back":
            last = MOVES[box.record.moved[-1]["value"]["to"]].lower()
            button(f"Take back “{last}”", self._take_back, "tm-quiet")

    async def _move(self, to: str) -> None:
        await self._record(lambda box, author: self._desk.move(box, to, author), "moved")

    async def _take_back(self) -> None:
        await self._record(self._desk.take_back, "taken back")

    async def _record(self, act: Callable[[Box, str], None], done: Done) -> None:
        """Do it if the box still is where this page says it is; else show where it is by now."""
        fresh = await asyncio.to_thread(self._desk.again, self._box)
        if [one["id"] for one in fresh.record.moved] != [one["id"] for one in self._box.record.moved]:
            self._box, self._done = fresh, None
            self._where.refresh()
            self._told("unsure", "Somebody moved this box meanwhile: look again.")
            return
        try:
            await asyncio.to_thread(act, self._box, who(self._frame()))
        except BoxError as error:
            self._told("off", f"{error}.")
            return
        self._box, self._done = await asyncio.to_thread(self._desk.again, self._box), done
        self._where.refresh()
        self._rest.refresh()

    @ui.refreshable_method
    def _rest(self) -> None:
        html(_rest(self._box, self._desk.clinic()))


def two_boxes(number: int) -> Markup:
    """A warning where a code has more than one box, else nothing."""
    if number < 2:
        return Markup("")
    said = note(
        "unsure",
        f"{number} visits have this code",
        "Two tablets drew the same one. Compare date and chair with the label before you open the box.",
    )
    return Markup('<div class="tm-twins">{}</div>').format(said)


def _whereabouts(box: Box, clinic: ClinicDocument) -> Markup:
    where, record = box.where, box.record
    late = chip("off", "overdue") if where.overdue else ""
    if where.place == HERE:
        since = f"not sent yet; visit of {when(record.opened, clinic)}"
    else:
        days = f"{where.days} day{'' if where.days == 1 else 's'}, " if where.days else ""
        by = clinic.name_of(record.moved[-1]["author"])
        since = f"{days}since {when(where.since, clinic)}, by {by}"
    wanted = f"; wanted back by {record.wanted}" if record.wanted and where.place in (HERE, "laboratory") else ""
    return Markup('<h2 class="tm-place">{} {}</h2><p class="tm-soft">{}{}.</p>').format(
        where.name, late, since[:1].upper() + since[1:], wanted
    )


def _rest(box: Box, clinic: ClinicDocument) -> Markup:
    record = box.record
    return Markup(
        '{}{}{}<section class="tm-card tm-apart"><h2>In the box</h2>{}<dl class="tm-facts">{}</dl></section>'
        "{}<h2>The record</h2>{}{}"
    ).format(
        _signature_note(box, clinic),
        _label_note(record, clinic),
        _outcome_note(record, clinic),
        _packed(record.packed),
        _facts(box, clinic),
        _papers(record),
        tally(box.view["verdict"], box.words),
        _history(box, clinic),
    )


def _signature_note(box: Box, clinic: ClinicDocument) -> Markup:
    record = box.record
    if record.signature is None:
        return note(
            "open",
            "Not signed yet",
            "The visit is still being worked on; nothing leaves the clinic before it is signed.",
        )
    name, at = clinic.name_of(record.signature["author"]), when(record.signature["at"], clinic)
    if record.signed:
        return note("fits", "Signed", f"by {name}, {at}. Record {record.signature['digest'][:8]}.")
    if record.signature["valid"]:
        return note("open", "Signed once", f"{name} signed {at}; a supervised visit needs a second signature.")
    return note(
        "off", "Changed after signing", f"{name} signed {at}; an entry arrived that this signature does not cover."
    )


def _label_note(record: BoxRecord, clinic: ClinicDocument) -> Markup:
    if record.on == "older":
        made = when(record.prints[-1]["at"], clinic)
        return note(
            "unsure",
            "The label is of an older record",
            f"It was made {made}; the record has changed since. Print it again.",
        )
    return Markup("")


def _outcome_note(record: BoxRecord, clinic: ClinicDocument) -> Markup:
    if record.outcome is None:
        return Markup("")
    by = f"{clinic.name_of(record.outcome['author'])}, {when(record.outcome['at'], clinic)}"
    said = told(record.outcome["value"])
    return note("fits" if said.startswith("All right") else "unsure", "Try-in", f"{said}. Noted by {by}.")


def _packed(packed: tuple[str, ...]) -> Markup:
    if not packed:
        return Markup('<p class="tm-soft">The packing list is not recorded.</p>')
    return Markup('<p class="tm-said">{}</p>').format(", ".join(packed))


def _facts(box: Box, clinic: ClinicDocument) -> Markup:
    record = box.record
    if record.disinfected:
        by = clinic.name_of(record.disinfected_by or "")
        disinfected = Markup("{}<br><span class='tm-soft tm-small'>{}, {}</span>").format(
            record.disinfected, by, when(record.disinfected_at or "", clinic)
        )
    else:
        disinfected = chip("off", "Not recorded: treat as contaminated")
    facts = (
        ("Chair", record.chair),
        ("Visit", when(record.opened, clinic)),
        ("Clinician", clinic.name_of(box.line.author)),
    )
    first = Markup('<div class="tm-wide"><dt>Disinfected</dt><dd>{}</dd></div>').format(disinfected)
    return first + Markup("").join(Markup("<div><dt>{}</dt><dd>{}</dd></div>").format(*fact) for fact in facts)


def _papers(record: BoxRecord) -> Markup:
    if record.signature is None:
        return Markup("")
    return Markup(
        '<div class="tm-buttons tm-apart"><a class="tm-button" href="/label/{0}">Label</a>'
        '<a class="tm-button" href="/B/{0}/prescription">Prescription</a>'
        '<a class="tm-button" href="/B/{0}/packing">Packing</a></div>'
    ).format(record.code)


def _history(box: Box, clinic: ClinicDocument) -> Markup:
    """What was done with the box, the latest first; a movement that was taken back is struck out."""
    events = [event for event in box.view["state"]["events"] if _event(event)]
    if not events:
        return Markup("")
    stand = {one["id"] for one in box.record.moved}
    rows = Markup("").join(
        Markup("<tr{}><td><time>{}</time></td><td>{}</td><td>{}</td></tr>").format(
            Markup(' class="tm-gone"') if _is_gone(event, stand) else "",
            when(event["at"], clinic),
            clinic.name_of(event["author"]),
            Markup("<s>{}</s>").format(_event(event)) if _is_gone(event, stand) else _event(event),
        )
        for event in reversed(events)
    )
    return Markup(
        '<h2>What was done with it</h2><div class="tm-scroll"><table class="tm-table tm-stacked"><thead><tr>'
        "<th>When</th><th>Who</th><th>What</th></tr></thead><tbody>{}</tbody></table></div>"
    ).format(rows)


def _is_gone(event: dict[str, Any], stand: set[str]) -> bool:
    return event["kind"] == "movement" and "to" in event["value"] and event["id"] not in stand


def _event(event: dict[str, Any]) -> str:
    """One event in words; "" for what this page does not know."""
    value = event["value"] if isinstance(event["value"], dict) else {}
    if event["kind"] == "movement":
        if "undoes" in value:
            return "Took a movement back"
        if "wanted" in value:
            return f"Wanted back by {value['wanted']}" if value["wanted"] else "No day wanted any longer"
        return MOVES.get(value.get("to", ""), "")
    if event["kind"] == "outcome" and "why" in value:
        return f"Try-in: {told(value)}"
    if event["kind"] == "printed" and value.get("what") in ("label", "prescription"):
        reason = f", again: {value['reason']}" if value.get("reason") else ""
        return f"{value['what'].capitalize()} printed{reason}"
    return ""
