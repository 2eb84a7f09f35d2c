"""Attacks at a whole clinic server in this process: paths that lead out of a folder, markup typed into text fields."""

import html
import json
import re
from html.parser import HTMLParser
from urllib.parse import quote

import pytest

from tests.people.conftest import HOST, site_of
from tests.people.test_set_up import SET_UP

TAGS = ("script", "img", "svg", "iframe", "object", "embed", "style", "math", "video", "details", "marquee", "base")
STARTS = ("", '">', "'>", "</title>", "</textarea>", "--><!-->", "`;")
PAYLOADS = [
    *(f"{start}<{tag} src=x onerror=alert(1) onload=alert(1)>" for tag in TAGS for start in STARTS[:4]),
    *(f"{start}<script>alert(1)</script>" for start in STARTS),
    '" onmouseover="alert(1)',
    "' onfocus='alert(1)' autofocus='",
    "javascript:alert(1)",
    "${alert(1)}",
    "{{constructor.constructor('alert(1)')()}}",
    "\\u003cscript\\u003ealert(1)\\u003c/script\\u003e",
    "&lt;script&gt;alert(1)&lt;/script&gt;",
]
NAME = '"><script>alert(1)</script>`;'
# A ".." in plain letters is folded away by the client itself.
CLIMBS = ("%2e%2e", "..%2f..", "%252e%252e", "..\\..", "..%5c..", "%c0%ae%c0%ae", "....//", "/", "%00", ".%00.")


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    with site_of(tmp_path_factory.mktemp("attacks") / "clinic") as site:
        site.code = site.app.state.set_up.link("this server", "").partition("code=")[2]
        yield site


@pytest.fixture(scope="module")
def manager(site):
    """The browser of the manager of a clinic in which every name is markup. Comes after what needs a blank clinic."""
    web = site.web()
    names = {"clinic": NAME, "chairs": NAME, "name": NAME}
    answer = web.post("/set-up", data={"code": site.code} | SET_UP | names)
    assert answer.headers["location"] == "/people"
    return web


class Parts(HTMLParser):
    """The tags of a piece of HTML, the names of all attributes, and what the fields hold."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.attributes, self.typed = set(), set(), {}
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        given = dict(attributes)
        self.tags.add(tag)
        self.attributes |= given.keys()
        if tag == "input":
            self.typed[given.get("name")] = given.get("value")


def made_of(answer):
    """What a page of ours puts into itself as HTML."""
    page = html.unescape(answer.text)
    found = re.findall(r'"innerHTML":("(?:[^"\\]|\\.)*")', page)
    assert found
    return Parts("".join(json.loads(piece) for piece in found))


def test_markup_typed_into_a_form_comes_back_as_it_was_typed_and_as_nothing_else(site):
    assert len(set(PAYLOADS)) >= 50
    web = site.web()
    plain = made_of(web.post("/set-up", data={"code": site.code, "clinic": "Green Door", "name": "Noor"}))
    for payload, other in zip(PAYLOADS[::2], PAYLOADS[1::2], strict=False):
        answer = web.post("/set-up", data={"code": site.code, "clinic": payload, "name": other, "pin": "1"})
        parts = made_of(answer)
        assert (parts.typed["clinic"], parts.typed["name"]) == (payload, other)
        assert parts.tags == plain.tags
        assert {name for name in parts.attributes if name.startswith("on")} == set()
        # Nor does it end the script in which the page carries its HTML.
        assert not any("<" in typed and typed in answer.text for typed in (payload, other))


@pytest.mark.parametrize(
    "path", ["/sign-in?then={}", "/sign-in?person={}", "/set-up?code={}", "/pin/new?code={}", "/{}"]
)
def test_markup_in_an_address_is_never_part_of_the_page(site, manager, path):
    web = site.web()
    for start in STARTS:
        payload = f"{start}<script>alert(1)</script>"
        answer = web.get(path.format(quote(payload, safe="")))
        assert answer.status_code in (200, 404)
        assert payload not in answer.text


@pytest.mark.parametrize("path", ["/", "/sign-in", "/people", "/tablets", "/boxes", "/pin", "/audit/access", "/audit"])
def test_markup_in_the_names_of_a_clinic_is_never_part_of_its_pages(manager, path):
    answer = manager.get(path)
    assert answer.status_code == 200
    assert "alert(1)" in answer.text
    assert "<script>alert(1)" not in answer.text
    assert "script" not in made_of(answer).tags


@pytest.mark.parametrize("folder", ["/chair/files/", "/sync/blobs/", "/B/", "/_nicegui/3.18.0/static/", "/"])
@pytest.mark.parametrize("climb", CLIMBS)
def test_no_path_leads_out_of_a_folder(site, manager, folder, climb):
    for file in ("etc/passwd", "pyproject.toml"):
        answer = site.web().get(f"http://{HOST}{folder}{'/'.join([climb] * 6)}/{file}")
        assert "root:" not in answer.text
        assert "[project]" not in answer.text
        assert answer.status_code in (303, 400, 401, 403, 404, 405, 421), answer.url
