"""/audit/integrity: walks the chain and the signatures on demand, with the very words of `threemark verify`."""

import asyncio

from markupsafe import Markup
from nicegui import ui

from chairapp.audit.sources import Sources, Verified
from chairapp.elements.frame import html

__all__ = ["IntegrityPage"]


class IntegrityPage:
    def __init__(self, sources: Sources) -> None:
        self._sources = sources

    def build(self) -> None:
        html(
            Markup(
                '<h1>Integrity</h1><p class="tm-lead">Are all entries as they were stored, and do the signatures stand '
                "over the entries they say?</p>"
                '<p class="tm-about">Every entry is linked to the one before it, so a changed, missing or inserted one '
                "shows. A chain is evidence, not prevention: whoever can rewrite the whole database can rewrite the "
                "chain. Nodes therefore remember its head, and exports print it. The command <code>threemark verify"
                "</code> says the same.</p>"
            )
        )
        self._button = ui.element("button").classes("tm-button tm-main-action").props("type=button")
        self._button.on("click", self._verify)
        with self._button:
            html(Markup("Check now"))
        self._told = html(_status(""))

    async def _verify(self) -> None:
        self._button.props("disabled")
        self._told.set_content(_status(Markup("<p>Checking every entry and every signature …</p>")))
        found = await asyncio.to_thread(self._sources.verify)
        self._told.set_content(_status(_result(found)))
        self._button.props(remove="disabled")


def _status(what: Markup | str) -> Markup:
    return Markup('<div class="tm-listed" role="status">{}</div>').format(what)


def _result(found: Verified) -> Markup:
    if found.flaw:
        return Markup('<div class="tm-note tm-off"><h3>Not as it was stored</h3><p>{}</p></div>').format(found.flaw)
    return Markup('<div class="tm-note tm-fits"><h3>All of it holds</h3><p>{}</p></div>').format(found.sentence)
