"""Every page and route of a node against everybody who may ask: `who_may_clinic.txt` and `who_may_chair.txt`.

A line names what is asked and what each of CALLERS gets: `in`, `sign in` (led there), `no` (403), `no token` (401).
After a page or route was added: `python -m tests.people.test_who_may` writes the tables anew; read what it changed.
"""

import tempfile
from contextlib import contextmanager
from pathlib import Path

import pytest
from nicegui import app as pages
from starlette.routing import Mount, Route, WebSocketRoute

from chairapp.clinic import STAFF, ClinicDocument, Person
from chairapp.node.documents import Documents
from chairapp.node.folder import make_folder
from chairapp.people.demo import demo_clinic
from chairapp.sequence import digest, document, jaw_relation
from tests.people.conftest import site_of

HERE = Path(__file__).parent
SEQUENCE = document(jaw_relation())
PEOPLE = {role: Person(id=role, name=role.title(), role=role) for role in sorted(STAFF)}
CALLERS = ("nobody", *PEOPLE, "tablet", "node", "removed")
FILLED = {
    "{code}": "7KQ4M2X9",
    "{visit}": "00000000-0000-7000-8000-000000000001",
    "{person}": "nobody-of-this-id",
    "{sha256}": "0" * 64,
    "{name}": "0" * 64,
}


class Asked:
    """A node with one person of each role, a tablet, a node and a tablet that was removed."""

    def __init__(self, site):
        self.site = site
        self.tokens = {}
        devices = site.app.state.devices
        for name, kind in (("tablet", "tablet"), ("node", "node"), ("removed", "tablet")):
            device, self.tokens[name] = devices.add(kind, name, "K")
            if name == "removed":
                devices.revoke(device.id)

    def answer(self, method, path, caller):
        for name, value in FILLED.items():
            path = path.replace(name, value)
        headers = {}
        if caller in self.tokens:
            headers = {"Authorization": f"Bearer {self.tokens[caller]}"}
        elif caller in PEOPLE:
            headers = {"Cookie": f"{self.site.doors.cookie}={self.site.doors.sessions.begin(caller)}"}
        answer = self.site.web(**headers).request(method, path)
        led = answer.headers.get("location", "").startswith("/sign-in?then=") and path != "/sign-in"
        return "sign in" if led else {401: "no token", 403: "no"}.get(answer.status_code, "in")

    def table(self):
        rows = []
        for method, path in sorted(_calls(self.site.app), key=lambda call: (call[1], call[0])):
            given = {caller: self.answer(method, path, caller) for caller in CALLERS}
            told = "; ".join(f"{word}: {', '.join(who)}" for word, who in _by_word(given).items())
            rows.append(f"{method} {path}  {told}")
        return "\n".join(rows) + "\n"


def _clinic() -> ClinicDocument:
    plain = demo_clinic(digest(SEQUENCE), "127.0.0.1:8190")
    return plain.model_copy(update={"invented": False, "staff": [*PEOPLE.values()]})


def _calls(app):
    """Every (method, path) of the node but NiceGUI's own files."""
    return {
        (method, route.path)
        for route in _routes([*app.routes, *pages.routes])
        if isinstance(route, Route) and not route.path.startswith("/_nicegui")
        for method in route.methods - {"HEAD"}
    }


def _routes(routes):
    for route in routes:
        if hasattr(route, "original_router"):
            yield from _routes(route.original_router.routes)
        else:
            yield route


def _by_word(given):
    """{word: who}; everybody where all get the same."""
    found = {}
    for caller, word in given.items():
        found.setdefault(word, []).append(caller)
    return found if len(found) > 1 else {word: ["everybody"] for word in found}


@contextmanager
def asked_at(role, folder):
    """A node with one person of each role, set up without them having PINs."""
    documents = Documents(make_folder(folder, role, {}))
    documents.keep_sequence(SEQUENCE)
    documents.keep_clinic(_clinic())
    with site_of(folder, role, **({"clinic": "http://127.0.0.1:9"} if role == "chair" else {})) as site:
        yield Asked(site)


@pytest.fixture(scope="module", params=["clinic", "chair"])
def node(request, tmp_path_factory):
    with asked_at(request.param, tmp_path_factory.mktemp("who") / "node") as asked:
        yield request.param, asked


def test_everybody_gets_what_the_table_says_and_no_page_or_route_is_missing(node):
    role, asked = node
    assert asked.table() == (HERE / f"who_may_{role}.txt").read_text()


def test_every_page_says_who_may(node):
    _, asked = node
    of_pages = {route.path for route in pages.routes if isinstance(route, Route)}
    ours = {path for path in of_pages if not path.startswith("/_nicegui")} - {"/favicon.ico"}
    assert ours <= asked.site.doors.declared.keys()


def test_no_further_door_is_open_but_the_sockets_of_pages(node):
    _, asked = node
    mounts = {route.path for route in [*asked.site.app.routes, *pages.routes] if isinstance(route, Mount)}
    sockets = {route.path for route in [*asked.site.app.routes, *pages.routes] if isinstance(route, WebSocketRoute)}
    assert sockets == set()
    assert mounts <= {"", "/_nicegui_ws"} | {path for path in mounts if path.startswith("/_nicegui/")}


def main():
    for role in ("clinic", "chair"):
        with tempfile.TemporaryDirectory() as folder, asked_at(role, Path(folder) / "node") as asked:
            (HERE / f"who_may_{role}.txt").write_text(asked.table())


if __name__ == "__main__":
    main()
