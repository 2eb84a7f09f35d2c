"""/audit/devices: when each tablet and node was last heard, what waits there, and the drawer of refused entries."""

import asyncio
import json
from datetime import UTC, datetime
from typing import Any

from markupsafe import Markup
from nicegui import ui

from chairapp.audit.page_parts import joined, table, when, when_ms
from chairapp.audit.sources import Heard, Sources
from chairapp.clinic import ClinicDocument
from chairapp.elements.frame import chip, html
from sync.store import Record

__all__ = ["DevicesPage", "devices_table", "what_to_do"]

SHOWN = 50
_QUIET_MS = 24 * 3600 * 1000
_DO = {
    "the clock is more than 366 days ahead": "Set the date of that device; what it wrote has to be entered again.",
    "this device was removed from the clinic's devices": "If it was removed by mistake, pair it again: it offers these "
    "entries anew. If not, settle them: it then stops offering them.",
    "a tablet hands in entries of its own only": "Pair that tablet again.",
    "another entry has this id": "Tell whoever looks after the tablets: two devices made one id.",
}


def what_to_do(record: Record) -> str:
    """For a manager: what the refusal itself says, or what is known to help."""
    return _DO.get(record.refusal.why) or record.refusal.do or "Enter it again; then settle this one."


class DevicesPage:
    def __init__(self, sources: Sources) -> None:
        self._sources = sources

    async def build(self) -> None:
        devices, refused = await asyncio.to_thread(self._look)
        clinic, now = self._sources.clinic(), datetime.now(UTC).timestamp() * 1000
        html(
            Markup(
                '<h1>Tablets and nodes</h1><p class="tm-lead">Who handed in what is heard here; a tablet at a chair '
                'node is heard through it. Pairing and removing is at <a href="/tablets">Tablets</a>.</p>{}'
            ).format(devices_table(devices, clinic, now))
        )
        html(
            Markup(
                '<h2 id="refused">Refused entries</h2><p class="tm-about">Kept as they came. None of them blocks what '
                "came after. Whoever sent one offers it again every day, until it is taken or settled here.</p>"
            )
        )
        self._drawer = ui.element("div")
        self._show(refused)

    def _look(self) -> tuple[list[Heard], list[Record]]:
        return self._sources.devices(), self._sources.drawer.refused()

    def _show(self, refused: list[Record]) -> None:
        names = {heard.device.id: heard.device.name for heard in self._sources.devices()}
        open_ones = [record for record in refused if not record.settled]
        with self._drawer:
            if not open_ones:
                settled = f" {len(refused)} were settled." if refused else ""
                html(Markup('<p class="tm-empty">None.{}</p>').format(settled))
            for record in open_ones[:SHOWN]:
                self._card(record, names)
            if len(open_ones) > SHOWN:
                html(Markup("<p>{} more; settle these first.</p>").format(len(open_ones) - SHOWN))

    def _card(self, record: Record, names: dict[str, str]) -> None:
        clinic = self._sources.clinic()
        with ui.element("section").classes("tm-card tm-apart"):
            html(
                Markup(
                    '<h3>{}: {}</h3><p>{}</p><p class="tm-soft tm-small">{}, from {}</p>'
                    '<details class="tm-more"><summary>The entry as it came</summary><pre class="tm-raw">{}</pre>'
                    "</details>"
                ).format(
                    record.refusal.field,
                    record.refusal.why,
                    what_to_do(record),
                    when_ms(record.at, clinic),
                    names.get(record.device, record.device[:8] or "a file"),
                    json.dumps(record.entry, indent=1, ensure_ascii=False)[:4000],
                )
            )
            button = ui.element("button").classes("tm-button").props("type=button")
            button.props["aria-label"] = f"Settle the entry that came {when_ms(record.at, clinic)}"
            button.on("click", lambda: self._settle(record.key))
            with button:
                html(Markup("Settled: stop offering it"))

    async def _settle(self, key: str) -> None:
        await asyncio.to_thread(self._sources.drawer.settle, key)
        refused = await asyncio.to_thread(self._sources.drawer.refused)
        self._drawer.clear()
        self._show(refused)


def devices_table(devices: list[Heard], clinic: ClinicDocument, now: float) -> Markup:
    if not devices:
        return Markup('<p class="tm-empty">None is paired yet.</p>')
    rows = [_row(heard, clinic, now) for heard in sorted(devices, key=lambda heard: -heard.at)]
    heads = ("Name", "What", "Last heard here", "Latest entry made", "Waiting there", "")
    return table(heads, rows, figures=(4,), caption="Paired devices")


def _row(heard: Heard, clinic: ClinicDocument, now: float) -> tuple[Any, ...]:
    device = heard.device
    kind = "Chair node" if device.kind == "node" else f"Tablet {device.letter}"
    at = when_ms(heard.at, clinic) if heard.at else "through its node" if heard.wrote else "not yet"
    wrote = when(heard.wrote, clinic) if heard.wrote else "none"
    waiting = "–" if heard.waiting is None else f"{heard.waiting:,}"
    return device.name, kind, at, wrote, waiting, joined(_chips(heard, now))


def _chips(heard: Heard, now: float) -> list[Markup]:
    device = heard.device
    if device.blocked:
        return [chip("off", "blocked")]
    if device.revoked:
        return [chip("off", "removed")]
    if heard.at and now - heard.at > _QUIET_MS:
        return [chip("unsure", f"quiet for {int((now - heard.at) // _QUIET_MS)} days")]
    return []
