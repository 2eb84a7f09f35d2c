"""/people: the clinic's staff and its settings, for the manager; and who changed what of them."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import Response
from markupsafe import Markup
from pydantic import ValidationError

from chairapp.clinic import MANAGER, ClinicDocument, Person
from chairapp.elements.frame import Frame, Page, html
from chairapp.people.changes import history
from chairapp.people.clinic_book import ClinicBook, new_id
from chairapp.people.clinic_form import clinic_fields, settings_in, typed_of
from chairapp.people.doors import Doors
from chairapp.people.errors import LastManager
from chairapp.people.form import Form, page_of, see, typed_in
from chairapp.people.links import Links
from chairapp.people.pins import Pins
from chairapp.people.roles import ROLE_NAMES

__all__ = ["People", "add_people", "people_routes"]

_HERE = "/people"
Manager = Person


@dataclass(frozen=True)
class People:
    """What the pages work on. `fits` says whether an address fits the symbol of a label, `address` is this server's."""

    book: ClinicBook
    clinic: Callable[[], ClinicDocument]
    pins: Pins
    links: Links
    languages: list[str]
    fits: Callable[[str], bool]
    address: str


def add_people(page: Page, frame: Callable[[], Frame], people: People) -> None:
    @page("/people", may=MANAGER)
    def all_of_them() -> None:
        clinic = people.clinic()
        with frame().page("People", _HERE):
            html(_staff(clinic, people.pins))
            html(_clinic(clinic, people.fits(clinic.label_address)))
            html(history(people.book.history(), clinic))

    @page("/people/new", may=MANAGER)
    def somebody_new() -> None:
        with frame().page("Somebody new", _HERE):
            html(_person_form(Form(), None))

    @page("/people/clinic", may=MANAGER)
    def settings() -> None:
        with frame().page("The clinic", _HERE):
            html(_clinic_form(Form(typed_of(people.clinic())), people.languages))

    @page("/people/staff/{person}", may=MANAGER)
    def one(person: str) -> None:
        found = people.clinic().person(person)
        with frame().page(found.name if found else "People", _HERE):
            html(_person_form(Form(_typed(found)), found) if found else _NOBODY)


def people_routes(doors: Doors, people: People) -> APIRouter:
    router = APIRouter(include_in_schema=False)
    let_in = Depends(doors.door(MANAGER))

    @router.post("/people/new")
    async def add(request: Request, manager: Annotated[Manager, let_in]) -> Response:
        form = Form(await typed_in(request))
        added = await run_in_threadpool(_put, form, None, people, manager)
        if added is None:
            return page_of(request, doors.frame, "Somebody new", _HERE, _person_form(form, None))
        return await link_for(request, added, manager)

    @router.post("/people/staff/{person}")
    async def change(request: Request, person: str, manager: Annotated[Manager, let_in]) -> Response:
        form, known = Form(await typed_in(request)), people.clinic().person(person)
        if known is None:
            return see(_HERE)
        if await run_in_threadpool(_put, form, known, people, manager):
            return see(_HERE)
        return page_of(request, doors.frame, known.name, _HERE, _person_form(form, known))

    @router.post("/people/staff/{person}/pin")
    async def link(request: Request, person: str, manager: Annotated[Manager, let_in]) -> Response:
        known = people.clinic().person(person)
        return await link_for(request, known, manager) if known and known.active else see(_HERE)

    @router.post("/people/clinic")
    async def set_clinic(request: Request, manager: Annotated[Manager, let_in]) -> Response:
        form = Form(await typed_in(request))
        changed = settings_in(form, people.clinic())
        if form.faults:
            return page_of(request, doors.frame, "The clinic", _HERE, _clinic_form(form, people.languages))
        await run_in_threadpool(people.book.set_settings, changed, manager.id)
        return see(_HERE)

    async def link_for(request: Request, person: Person, manager: Person) -> Response:
        code = await run_in_threadpool(people.links.make, person.id)
        await run_in_threadpool(doors.noted, manager, f"made a link for the PIN of {person.id}")
        body = _link(person, f"{people.address}/pin/new?code={code}")
        return page_of(request, doors.frame, person.name, _HERE, body, 200)

    return router


def _put(form: Form, known: Person | None, people: People, manager: Person) -> Person | None:
    """The person as kept; None when something typed is wrong, which is noted in the form."""
    typed = form.typed
    if not 0 < len(typed.get("name", "")) <= 120:
        form.faults["name"] = "Name: write it, up to 120 characters."
    if typed.get("role") not in ROLE_NAMES:
        form.faults["role"] = "Role: choose one."
    if len(typed.get("licence", "")) > 60:
        form.faults["licence"] = "Licence number: up to 60 characters."
    if form.faults:
        return None
    id = known.id if known else new_id(typed["name"], [person.id for person in people.clinic().staff])
    raw = {"id": id, "name": typed["name"], "role": typed["role"], "licence": typed.get("licence") or None}
    try:
        person = Person.model_validate({**raw, "active": typed.get("active", "yes") == "yes"})
        people.book.put_person(person, manager.id)
    except LastManager as last:
        form.faults["role"] = f"{last.why} {last.do}"
        return None
    except ValidationError:
        form.faults["name"] = "Name: write it with letters."
        return None
    return person


def _typed(person: Person) -> dict[str, str]:
    active = "yes" if person.active else "no"
    return {"name": person.name, "role": person.role, "licence": person.licence or "", "active": active}


# ---- what the pages show


_NOBODY = Markup('<h1>Nobody has this id</h1><p><a class="tm-button" href="/people">To all people</a></p>')


def _staff(clinic: ClinicDocument, pins: Pins) -> Markup:
    order = sorted(clinic.staff, key=lambda person: not person.active)
    rows = Markup("").join(_row(person, pins.has(person.id)) for person in order)
    return Markup(
        '<h1>People</h1><p class="tm-lead">Who signs in here and on tablets. Nobody is deleted: who left keeps '
        "the name "
        'that old records show.</p><ul class="tm-list">{}</ul>'
        '<div class="tm-buttons tm-even"><a class="tm-button" href="/people/new">Add somebody</a></div>'
    ).format(rows)


def _row(person: Person, has_pin: bool) -> Markup:
    licence = f", licence {person.licence}" if person.licence else ""
    state = "Left" if not person.active else "" if has_pin else "No PIN yet"
    said = Markup('<span class="tm-chip tm-open">{}</span>').format(state) if state else Markup("")
    return Markup(
        '<li><a class="tm-row tm-two-of" href="/people/staff/{}"><p><strong>{}</strong><br><span '
        'class="tm-soft">{}{}</span>'
        "</p>{}</a></li>"
    ).format(person.id, person.name, ROLE_NAMES[person.role], licence, said)


def _clinic(clinic: ClinicDocument, fits: bool) -> Markup:
    facts = (
        ("Name", clinic.clinic),
        ("Time zone", clinic.time_zone),
        ("Chairs", ", ".join(clinic.chairs)),
        ("Address on labels", clinic.label_address),
    )
    long = Markup(
        '<div class="tm-note tm-unsure"><p>The address on labels is too long for their symbol, which therefore '
        "holds the "
        "box code alone: a phone cannot open the box's page with it. Use a shorter name.</p></div>"
    )
    return Markup(
        '<h2>The clinic</h2><section class="tm-card">{}<dl class="tm-facts tm-close">{}</dl><div '
        'class="tm-buttons tm-even">'
        '<a class="tm-button" href="/people/clinic">Change</a></div></section>'
    ).format(
        Markup("") if fits else long,
        Markup("").join(Markup("<div><dt>{}</dt><dd>{}</dd></div>").format(*fact) for fact in facts),
    )


def _person_form(form: Form, known: Person | None) -> Markup:
    where = f"/people/staff/{known.id}" if known else "/people/new"
    present = form.choice("active", "Is this person at the clinic?", (("yes", "Yes"), ("no", "No, has left")))
    return Markup(
        '<h1>{}</h1>{}<form class="tm-form tm-asked" method="post" action="{}"><section '
        'class="tm-card">{}{}{}{}</section>'
        '<div class="tm-buttons"><button type="submit" class="tm-button tm-go-on">{}</button>'
        '<a class="tm-button" href="/people">Back</a></div></form>{}'
    ).format(
        known.name if known else "Somebody new",
        form.top(),
        where,
        form.text("name", "Name", "As the record shows it.", more=Markup('autocomplete="off"')),
        form.choice("role", "Role", ROLE_NAMES.items()),
        form.text(
            "licence", "Licence number", "Of who prescribes; leave it empty for others.", Markup('autocomplete="off"')
        ),
        present if known else "",
        "Keep" if known else "Add, and make a link for the PIN",
        _reset(known) if known and known.active else "",
    )


def _reset(person: Person) -> Markup:
    return Markup(
        '<h2>PIN</h2><p class="tm-about">A PIN that was forgotten is replaced by {} alone, with a link that '
        "works once.</p>"
        '<form method="post" action="/people/staff/{}/pin"><button type="submit" class="tm-button">Make a link '
        "for a new PIN"
        "</button></form>"
    ).format(person.name, person.id)


def _link(person: Person, link: str) -> Markup:
    return Markup(
        '<h1>{}</h1><p class="tm-lead">With this link {} chooses a PIN, on any computer that reaches this '
        "server. It works "
        'once, within a day, and is not shown again.</p><section class="tm-card"><p class="tm-link">{}</p>'
        '<div class="tm-buttons"><a class="tm-button" href="{}">Open it here</a></div></section>'
        '<p class="tm-about">Opening it here signs you out.</p><p><a class="tm-button" href="/people">To all '
        "people</a></p>"
    ).format(person.name, person.name, link, link)


def _clinic_form(form: Form, languages: list[str]) -> Markup:
    return Markup(
        '<h1>The clinic</h1>{}<form class="tm-form tm-asked" method="post" action="/people/clinic">'
        '<section class="tm-card">{}{}</section><div class="tm-buttons">'
        '<button type="submit" class="tm-button tm-go-on">Keep</button><a class="tm-button" '
        'href="/people">Back</a></div></form>'
    ).format(
        form.top(),
        clinic_fields(form, languages),
        form.lines(
            "prescription_fields",
            "Further lines of a prescription",
            "Labels of what is written by hand here, such as a registration number. Each on a line; may stay empty.",
        ),
    )
