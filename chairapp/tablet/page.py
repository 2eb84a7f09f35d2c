"""The page that is frozen: what of `/chair` is the same for every clinic, every visit and every tablet.

`chairapp.elements.chair` authors it: `build()` puts the elements on the page, `words()` gives the page's own texts as
JSON ({"en": {key: text}}), handed to the elements as `words` of the page's `tm-config`:

    JSON.parse(document.getElementById("tm-config").textContent)
    {"protocol": 1, "release": version, "words": {...}, "judge": {"worker", "brython", "bundle"}, "worker": "/sw.js",
     "scope": "/chair"}

Modules named `tm_*.js` in `sync/browser`, `chairapp/tablet` and `chairapp/elements` may import one another by their
stems (`import * as replica from "tm_replica"`); the release finds them by their import lines. The page's policy allows
no evaluated code: no listener of the element itself, no `js_handler`, no component with a `template` (`ui.html`).
Stylesheets are added with `ui.add_css` or a `<style>` in `ui.add_head_html`.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib.resources import files as resources
from urllib.parse import quote

from nicegui import ui

from chairapp.tablet.bundle import brython, bundle
from chairapp.tablet.files import Files
from chairapp.tablet.icons import PAPER, PNGS, png, svg

__all__ = ["PLACEHOLDER", "TITLE", "VIEWPORT", "Author", "mark_url", "page"]

TITLE = "Threemark"
VIEWPORT = "width=device-width, initial-scale=1, viewport-fit=cover"
PROTOCOL = 1
PLACEHOLDER = "{{release}}"
"""Stands for the release's version until that is known."""

_WORKER_POLICY = "default-src 'none'; script-src 'self' 'unsafe-eval'"
"""Brython turns Python into JavaScript and evaluates it: allowed here, away from the page, and nowhere else."""


@dataclass(frozen=True)
class Author:
    """Who authors the page: `build()` puts its elements there, `words()` are its texts as JSON."""

    build: Callable[[], None]
    words: Callable[[], str]


def page(author: Author, files: Files) -> Callable[[], None]:
    """A NiceGUI page builder. The files it adds by itself are put into `files`."""
    config = json.dumps(_config(author, files), ensure_ascii=False, sort_keys=True).replace("<", "\\u003c")
    head = _head(files)

    def build() -> None:
        ui.add_head_html(head)
        ui.add_head_html(f'<script type="application/json" id="tm-config">{config}</script>')
        ui.add_body_html('<script type="module">import { start } from "tm_release"; start();</script>')
        author.build()

    return build


def mark_url() -> str:
    """The mark as an address that holds all of it."""
    return f"data:image/svg+xml,{quote(svg())}"


def _config(author: Author, files: Files) -> dict[str, object]:
    worker = (resources("chairapp.tablet") / "judge_worker.js").read_bytes()
    judge = {
        "worker": files.add("judge_worker.js", worker, headers={"Content-Security-Policy": _WORKER_POLICY}),
        "brython": files.add("brython.js", brython()),
        "bundle": files.add("judge_bundle.js", bundle()),
    }
    own = {"protocol": PROTOCOL, "release": PLACEHOLDER, "worker": "/sw.js", "scope": "/chair"}
    return {**own, "judge": judge, "words": json.loads(author.words())}


def _head(files: Files) -> str:
    icons = {name: files.add(name, png(name)) for name in PNGS}
    manifest = files.add("manifest.webmanifest", json.dumps(_manifest(icons), indent=1, sort_keys=True))
    return (
        f'<link rel="manifest" href="{manifest}" /><meta name="theme-color" content="{PAPER}" />'
        f'<link rel="apple-touch-icon" href="{icons["mark-192.png"]}" />'
    )


def _manifest(icons: Mapping[str, str]) -> dict[str, object]:
    return {
        "id": "/chair",
        "name": TITLE,
        "short_name": TITLE,
        "description": "The visit for the wax rims, step by step, with the network off.",
        "start_url": "/chair",
        "scope": "/chair",
        "display": "standalone",
        "orientation": "any",
        "background_color": "#ffffff",
        "theme_color": PAPER,
        "icons": [_icon(name, url) for name, url in icons.items()],
    }


def _icon(name: str, url: str) -> dict[str, str]:
    side, maskable = PNGS[name]
    purpose = "maskable" if maskable else "any"
    return {"src": url, "sizes": f"{side}x{side}", "type": "image/png", "purpose": purpose}
