"""The frozen page and its release: rendered once, rid of what is random, every file under the address of its bytes.

NiceGUI renders a page for a live socket. What is leaned on of its insides is named here and guarded by tests/tablet:
the template's import map and script addresses under `/_nicegui/VERSION/`, the elements in a String.raw literal, random
ids as UUIDs of version 4, `window.io`.
"""

import base64
import hashlib
import html as markup
import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import httpx
from nicegui import app as nicegui_app
from nicegui import ui

from chairapp.tablet.errors import ReleaseError
from chairapp.tablet.files import File, Files
from chairapp.tablet.modules import imports, module
from chairapp.tablet.page import PLACEHOLDER, TITLE, VIEWPORT, mark_url

__all__ = ["PAGE", "Release", "build_release"]

PAGE = "/chair"
_RENDERING = "/chair/rendering"
_VERSION_DIGITS = 16

_RANDOM_ID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")
_IMPORT_MAP = re.compile(r'(<script type="importmap">\s*)(\{.*?\})(\s*</script>)', re.S)
_ELEMENTS = re.compile(r"parseElements\(String\.raw`(.*?)`\)", re.S)
_INLINE_SCRIPT = re.compile(r"<script(?P<attributes>[^>]*)>(?P<text>.*?)</script>", re.S)
_ADDRESS = re.compile(r"""/_nicegui/[^"'`\s()<>&]+|(?<=src=")/[^"]+|(?<=<link href=")/[^"]+""")
_LEFT_OUT = (
    re.compile(r'\s*@import url\("[^"]*/fonts\.css"\)[^;]*;'),
    re.compile(r'\s*<script defer src="[^"]*/tailwindcss\.min\.js"></script>'),
    re.compile(r'\s*<style type="text/tailwindcss">.*?</style>', re.S),
)
_FURTHER_FILES = re.compile(r"""url\((?!["']?data:)|@import""")
_TEMPLATE = re.compile(r"\btemplate\s*:")
_SOCKET = re.compile(r'"/_nicegui/[^"]*/socket\.io\.min\.js"')
_EMPTY_LINES = re.compile(r"\n\s*\n")
_OLD_BROWSER = "Your browser does not support ES modules.<br />Please use a modern browser."
_OPENING = "Opening. Should this stay, this browser is too old for the page."


@dataclass(frozen=True)
class Release:
    """One version of the page with all its files. `manifest` is {version, assets: [{url, sha256, size}]}."""

    page: File
    files: Files
    version: str
    manifest: dict[str, object]


async def build_release(build: Callable[[], None], files: Files, no_socket: str, reach: Sequence[str] = ()) -> Release:
    """Render `build`, freeze it, and list what it needs. `files` holds what is known already: judge, icons, manifest.

    Equal code gives equal bytes and so an equal version, in every process. `reach` are the further origins the page's
    policy lets it call; with others it is another version, for the policy is kept on the tablet beside the page.
    Raises ReleaseError for an element that would need the node at run time, and for a file that cannot be had.
    """
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app=nicegui_app), base_url="http://release") as client:
        html = await _render(client, build)
        _refuse_listeners(html)
        html = _SOCKET.sub(f'"{no_socket}"', _without_chance(html))
        for unwanted in _LEFT_OUT:
            html = unwanted.sub("", html)
        html = _EMPTY_LINES.sub("\n", html.replace(_OLD_BROWSER, _OPENING))
        freezer = _Freezer(client, files)
        html = await freezer.with_own_imports(html)
        html = await freezer.with_own_addresses(html)
    return _released(html, files, reach)


async def _render(client: httpx.AsyncClient, build: Callable[[], None]) -> str:
    """The page as NiceGUI gives it. Its live form has an address only for this moment."""
    ui.page(_RENDERING, title=TITLE, viewport=VIEWPORT, favicon=mark_url(), language="en-US", dark=False)(build)
    try:
        response = await client.get(_RENDERING, headers={"accept": "text/html", "accept-encoding": "identity"})
    finally:
        nicegui_app.remove_route(_RENDERING)
    if response.status_code != 200:
        raise ReleaseError(f"the page could not be rendered (status {response.status_code}): see the log above")
    return response.text


def _refuse_listeners(html: str) -> None:
    """Elements that would call Python or evaluate text do nothing on this page. NiceGUI's own layout, 0, is let be."""
    for id, element in _elements(html).items():
        for event in element.get("events", []):
            if id != "0":
                raise ReleaseError(f"element {id} ({element['tag']}): its {event['type']!r} listener needs the node")


def _elements(html: str) -> dict[str, dict[str, Any]]:
    found = _ELEMENTS.search(html)
    if not found:
        raise ReleaseError("the page holds no elements: NiceGUI's template has changed")
    elements: dict[str, dict[str, Any]] = json.loads(markup.unescape(found[1]))
    return elements


def _without_chance(html: str) -> str:
    seen: dict[str, str] = {}
    return _RANDOM_ID.sub(lambda id: seen.setdefault(id[0], f"00000000-0000-4000-8000-{len(seen):012x}"), html)


class _Freezer:
    """Fetches what the page names and puts it under its content's address."""

    def __init__(self, client: httpx.AsyncClient, files: Files) -> None:
        self._client = client
        self._files = files
        self._known: dict[str, str] = {}

    async def with_own_imports(self, html: str) -> str:
        """The page with an import map of exactly the modules it uses."""
        found = _IMPORT_MAP.search(html)
        if not found:
            raise ReleaseError("the page has no import map: NiceGUI's template has changed")
        offered: dict[str, str] = json.loads(found[2])["imports"]
        used: dict[str, str] = {}
        todo = [name for text in _modules_of(html) for name in imports(text)]
        while todo:
            name = todo.pop()
            if name in used:
                continue
            if name.startswith("/"):
                used[name] = await self.address(name)
            else:
                used[name] = await self._module(name, offered)
            todo += imports(self._module_text(name, used[name]))
        bare = {name: url for name, url in sorted(used.items()) if not name.startswith("/")}
        return html[: found.start(2)] + json.dumps({"imports": bare}, indent=1) + html[found.end(2) :]

    async def _module(self, name: str, offered: dict[str, str]) -> str:
        own = module(name)
        if own is not None:
            return self._files.add(f"{name}.js", own)
        if name not in offered:
            raise ReleaseError(f"{name!r} is imported by the page and nobody has a module of that name")
        return await self.address(offered[name])

    async def with_own_addresses(self, html: str) -> str:
        for url in dict.fromkeys(_ADDRESS.findall(html)):
            if self._files.get(url) is None and not url.startswith("data:"):
                html = html.replace(url, await self.address(url))
        if "/_nicegui/" in html:
            raise ReleaseError("an address under /_nicegui/ is left in the page")
        return html

    async def address(self, url: str) -> str:
        """Where the file now served under `url` is in the release."""
        if self._files.get(url):
            return url
        if url not in self._known:
            response = await self._client.get(url, headers={"accept-encoding": "identity"})
            if response.status_code != 200:
                raise ReleaseError(f"{url}: a file of the page cannot be had (status {response.status_code})")
            media = response.headers["content-type"].partition(";")[0]
            if media == "text/css" and _FURTHER_FILES.search(response.text):
                raise ReleaseError(f"{url}: a stylesheet may not name further files, put them into the page itself")
            self._known[url] = self._files.add(url.partition("?")[0].rpartition("/")[2], response.content, media)
        return self._known[url]

    def _module_text(self, name: str, url: str) -> str:
        file = self._files.get(url)
        text = file.body.decode() if file and file.media == "text/javascript" else ""
        if name.startswith("/") and _TEMPLATE.search(text):
            raise ReleaseError(f"{name}: its template would be evaluated, which this page forbids: use `render`")
        return text


def _modules_of(html: str) -> list[str]:
    return [text for attributes, text in _INLINE_SCRIPT.findall(html) if 'type="module"' in attributes]


def _released(html: str, files: Files, reach: Sequence[str]) -> Release:
    """The version is of everything but itself; it is then written into the page, so that the page knows its own."""
    if PLACEHOLDER not in html:
        raise ReleaseError("the page has no tm-config: it must be built by chairapp.tablet.page")
    listed = sorted(({"url": file.url, "sha256": file.sha256, "size": len(file.body)} for file in files), key=_url)
    version = hashlib.sha256(json.dumps([html, listed, *reach]).encode()).hexdigest()[:_VERSION_DIGITS]
    html = html.replace(PLACEHOLDER, version)
    page = File("chair.html", html.encode(), "text/html; charset=utf-8", _headers(html, reach))
    assets = [{"url": PAGE, "sha256": page.sha256, "size": len(page.body)}, *listed]
    return Release(page, files, version, {"version": version, "assets": assets})


def _url(asset: dict[str, object]) -> str:
    return str(asset["url"])


def _headers(html: str, reach: Sequence[str]) -> dict[str, str]:
    """No script runs on the page but its own files and the inline ones it was frozen with."""
    scripts = [f"'sha256-{_base64(text)}'" for attributes, text in _INLINE_SCRIPT.findall(html) if _runs(attributes)]
    policy = {
        "default-src": "'none'",
        "script-src": " ".join(["'self'", *scripts]),
        "style-src": "'self' 'unsafe-inline'",
        "img-src": "'self' data: blob:",
        "connect-src": " ".join(["'self'", *reach]),
        "worker-src": "'self'",
        "manifest-src": "'self'",
        "base-uri": "'none'",
        "form-action": "'none'",
        "frame-ancestors": "'none'",
    }
    text = "; ".join(f"{name} {value}" for name, value in policy.items())
    return {"Content-Security-Policy": text, "Referrer-Policy": "no-referrer", "X-Content-Type-Options": "nosniff"}


def _runs(attributes: str) -> bool:
    return "src=" not in attributes and "application/json" not in attributes


def _base64(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
