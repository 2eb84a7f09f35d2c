"""/tablets: the devices of the clinic, and how a further one is paired."""

import asyncio
import io
from collections.abc import Callable
from datetime import UTC, datetime

import qrcode
from markupsafe import Markup
from nicegui import ui
from qrcode.image.svg import SvgPathImage

from chairapp.clinic import MANAGER, ClinicDocument, local
from chairapp.elements.frame import Frame, Page, html
from chairapp.people.pairing_codes import PairingCodes
from sync.access import Device, Roster

__all__ = ["add_tablets"]

Note = Callable[[str], None]
"""Keeps in the access log what who is signed in did."""


def add_tablets(
    page: Page,
    frame: Callable[[], Frame],
    devices: Roster,
    codes: PairingCodes,
    clinic: Callable[[], ClinicDocument],
    address: Callable[[], str],
    note: Note,
) -> None:
    """`address` is where a tablet opens its page: scheme and host of this node or of a chair node."""

    @page("/tablets", may=MANAGER)
    async def tablets() -> None:
        known = await asyncio.to_thread(devices.list)
        with frame().page("Tablets", "/tablets"):
            html(Markup('<h1>Tablets</h1><p class="tm-lead">What may show and hand in visits of this clinic.</p>'))
            _pairing()
            html(Markup("<h2>Paired</h2>"))
            with ui.element("div").classes("tm-devices"):
                for device in known:
                    _row(device)

    def _pairing() -> None:
        shown = ui.element("div")

        async def make() -> None:
            code = await asyncio.to_thread(codes.make)
            note("made a pairing code")
            shown.clear()
            with shown:
                html(_code(code, f"{address()}/chair#pair={code}"))

        _button("Pair a tablet", make, "tm-main-action")
        shown.move()

    def _row(device: Device) -> None:
        with ui.element("section").classes("tm-card tm-device").props(f'data-device="{device.id}"'):
            html(_told(device, clinic()))
            if not device.blocked:
                with ui.element("div").classes("tm-buttons"):
                    if not device.revoked:
                        _button("Remove", lambda: end(device, block=False))
                    _button("Block now", lambda: end(device, block=True))

    async def end(device: Device, *, block: bool) -> None:
        await asyncio.to_thread(lambda: devices.revoke(device.id, block=block))
        note(f"{'blocked' if block else 'removed'} device {device.id}")
        ui.navigate.reload()


def _button(words: str, pressed: Callable[[], object], more: str = "") -> None:
    with ui.element("button").classes(f"tm-button {more}").props('type="button"').on("click", pressed):
        html(Markup("<span>{}</span>").format(words))


def _told(device: Device, clinic: ClinicDocument) -> Markup:
    kind = f"Tablet {device.letter}" if device.kind == "tablet" else "Chair node"
    if device.revoked:
        at = datetime.fromtimestamp(device.revoked / 1000, UTC).isoformat()
        word = "Blocked" if device.blocked else "Removed; may still hand in for 30 days"
        state = f"{word}. Since {local(at, clinic):%Y-%m-%d %H:%M}"
    else:
        state = "In use"
    return Markup('<h3>{}</h3><p class="tm-soft">{} · {}</p>').format(device.name, kind, state)


def _code(code: str, link: str) -> Markup:
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
