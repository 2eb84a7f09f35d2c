"""/tablets: the devices of the clinic, and how a further one is paired."""

import asyncio
import io
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial

import qrcode
from markupsafe import Markup
from nicegui import ui
from qrcode.image.svg import SvgPathImage

from chairapp.clinic import MANAGER, ClinicDocument, local
from chairapp.elements.frame import Frame, Page, html
from chairapp.people.pairing_codes import PairingCodes
from sync.access import Device, Roster

__all__ = ["Tablets", "add_tablets"]

_VALUE = "(event) => emit(event.target.value)"
Note = Callable[[str], None]
"""Keeps in the access log what who is signed in did."""


@dataclass(frozen=True)
class Tablets:
    """What the page works on. `places` are nodes whose page a tablet may open: (name, address), this one first.

    `heard` says when a device was last heard, ms since 1970, 0 for never.
    """

    devices: Roster
    codes: PairingCodes
    clinic: Callable[[], ClinicDocument]
    places: Callable[[], list[tuple[str, str]]]
    heard: Callable[[str], int]
    note: Note


def add_tablets(page: Page, frame: Callable[[], Frame], asked: Tablets) -> None:
    devices, clinic, note = asked.devices, asked.clinic, asked.note

    @page("/tablets", may=MANAGER)
    async def tablets() -> None:
        known = await asyncio.to_thread(lambda: [(device, asked.heard(device.id)) for device in devices.list()])
        places = await asyncio.to_thread(asked.places)
        with frame().page("Tablets", "/tablets"):
            html(Markup('<h1>Tablets</h1><p class="tm-lead">What may show and hand in visits of this clinic.</p>'))
            _pairing(places)
            html(Markup("<h2>Paired</h2>"))
            if not known:
                html(Markup('<p class="tm-empty">None yet.</p>'))
            with ui.element("div").classes("tm-devices"):
                for device, heard in sorted(known, key=lambda row: row[0].revoked):
                    _row(device, heard)

    def _pairing(places: list[tuple[str, str]]) -> None:
        shown = ui.element("div")

        async def make(drawn: Callable[[str], Markup]) -> None:
            code = await asyncio.to_thread(asked.codes.make)
            note("made a pairing code")
            shown.clear()
            with shown:
                html(drawn(code))

        with ui.element("div").classes("tm-buttons"):
            for name, address in places:
                words = "Pair a tablet" if len(places) == 1 else f"Pair a tablet with {name}"
                _button(words, partial(make, partial(_code, address)), "tm-go-on")
            _button("Pair a chair node", partial(make, partial(_node_code, places[0][1])))
        shown.move()

    def _row(device: Device, heard: int) -> None:
        with ui.element("section").classes("tm-card tm-device").props(f'data-device="{device.id}"'):
            html(_told(device, heard, clinic()))
            if not device.revoked:
                _rename(device)
            if not device.blocked:
                with ui.element("div").classes("tm-buttons"):
                    if not device.revoked:
                        _button("Remove", lambda: end(device, block=False))
                    _button("Block now", lambda: end(device, block=True))

    def _rename(device: Device) -> None:
        with ui.element("details").classes("tm-more"):
            with ui.element("summary"):
                html(Markup("<span>Another name</span>"))
            typed = {"name": device.name}
            html(Markup('<label class="tm-field" for="name-{}">Name</label>').format(device.id))
            with ui.element("div").classes("tm-field"):
                field = ui.element("input").props(f'id="name-{device.id}" maxlength="80" autocomplete="off"')
                field.props["value"] = device.name
                field.on("input", lambda event: typed.update(name=str(event.args)), js_handler=_VALUE)
            said = ui.element("div").classes("tm-status").props('role="status"')
            _button("Keep", lambda: rename(device, typed["name"].strip(), said))

    async def rename(device: Device, name: str, said: ui.element) -> None:
        if not 0 < len(name) <= 80:
            said.clear()
            with said:
                html(Markup('<p class="tm-fault">Name: write it, up to 80 characters.</p>'))
            return
        await asyncio.to_thread(devices.rename, device.id, name)
        note(f"renamed device {device.id}")
        ui.navigate.reload()

    async def end(device: Device, *, block: bool) -> None:
        await asyncio.to_thread(lambda: devices.revoke(device.id, block=block))
        note(f"{'blocked' if block else 'removed'} device {device.id}")
        ui.navigate.reload()


def _button(words: str, pressed: Callable[[], object], more: str = "") -> None:
    with ui.element("button").classes(f"tm-button {more}").props('type="button"').on("click", pressed):
        html(Markup("<span>{}</span>").format(words))


def _told(device: Device, heard: int, clinic: ClinicDocument) -> Markup:
    kind = f"Tablet {device.letter}" if device.kind == "tablet" else "Chair node"
    if device.revoked:
        word = "Blocked" if device.blocked else "Removed; may still hand in for 30 days"
        state = f"{word}. Since {_when(device.revoked, clinic)}"
    else:
        state = f"last heard {_when(heard, clinic)}" if heard else "not heard here yet"
    return Markup('<h3>{}</h3><p class="tm-soft">{} · {}</p>').format(device.name, kind, state)


def _when(ms: int, clinic: ClinicDocument) -> str:
    return f"{local(datetime.fromtimestamp(ms / 1000, UTC).isoformat(), clinic):%Y-%m-%d %H:%M}"


def _node_code(address: str, code: str) -> Markup:
    command = f"threemark chair --data DIR --clinic {address} --pair {code}"
    return Markup(
        '<div class="tm-card tm-pairing"><div><p>Start the chair node, in a folder of its own, with</p>'
        '<p class="tm-link">{}</p><p class="tm-soft">For one node, within ten minutes.</p></div></div>'
    ).format(command)


def _code(address: str, code: str) -> Markup:
    link = f"{address}/chair#pair={code}"
    drawn = io.BytesIO()
    qrcode.make(link, image_factory=SvgPathImage, box_size=12).save(drawn)
    symbol = drawn.getvalue().decode().partition("?>")[2]
    return Markup(
        '<div class="tm-card tm-pairing">'
        '<div class="tm-symbol" role="img" aria-label="Symbol of the pairing code">{}</div>'
        "<div><p>Point the camera of the tablet at the symbol, or open {} there and type</p>"
        '<p class="tm-code tm-pairing-code">{}-{}</p>'
        '<p class="tm-soft">For one tablet, within ten minutes.</p></div></div>'
    ).format(Markup(symbol), link.partition("#")[0], code[:5], code[5:])  # noqa: S704 - drawn by us
