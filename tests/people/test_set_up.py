"""A clinic server's first start, then its people and their PINs: one story at one server."""

import html
import json
import re

import pytest

from chairapp.clinic import CLINIC_VISIT
from chairapp.people.callers import FREE_TRIES, Callers
from chairapp.people.links import DAY_MS, Links
from chairapp.people.safe import FileSafe
from tests.people.conftest import site_of

COOKIE = "threemark-clinic"
MANAGER_PIN = "864209"
SET_UP = {
    "clinic": "Green Door Practice",
    "time_zone": "Europe/Lisbon",
    "chairs": "1\r\n2\r\n\r\nCare home bag",
    "label_address": "rims.example",
    "languages": "en",
    "name": "Noor Haddad",
    "pin": MANAGER_PIN,
    "again": MANAGER_PIN,
}


def words(answer):
    """What a page shows."""
    found = html.unescape(html.unescape(answer.text).replace("\\n", " ").replace('\\"', '"'))
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", found))


def link_in(answer):
    return re.search(r"/pin/new\?code=[\w-]+", answer.text)[0]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("people") / "clinic"


@pytest.fixture(scope="module")
def site(folder):
    with site_of(folder) as site:
        site.link = site.app.state.set_up.link("this server", "")
        yield site


def set_up(site, **changes):
    """A browser in which the form of the link was sent, and the answer."""
    web, code = site.web(), site.link.partition("code=")[2]
    return web, web.post("/set-up", data={"code": code} | SET_UP | changes)


@pytest.fixture(scope="module")
def manager(site):
    """The first manager's browser, once the clinic is set up."""
    web, answer = set_up(site)
    assert answer.headers["location"] == "/people"
    return web


def sign_in(site, person, pin):
    web = site.web()
    return web, web.post("/sign-in", data={"person": person, "pin": pin, "then": "/label"})


# ---- before


def test_before_it_is_set_up_every_page_leads_to_the_window_of_the_server(site):
    web = site.web()
    assert "Look at the window in which the server was started" in words(web.get("/"))
    assert web.get("/people").headers["location"].startswith("/sign-in")
    assert "not set up yet" in words(web.get("/sign-in"))
    assert web.get("/ready").status_code == 503


def test_nobody_sets_up_a_clinic_without_the_link(site):
    for web, answer in (set_up(site, code="guessed"), set_up(site, code="")):
        assert answer.headers["location"] == "/set-up"
        assert "never was" in words(web.get("/set-up"))
        assert COOKIE not in web.cookies


def test_nothing_is_paired_and_nobody_comes_in_by_a_default(site):
    web = site.web()
    refused = web.post("/pair", json={"kind": "tablet", "name": "T"})
    assert (refused.status_code, refused.json()["error"]["field"]) == (403, "code")
    answer = web.post("/sign-in", data={"person": "mgr-1", "pin": "135790"})
    assert answer.status_code == 503
    assert "not set up yet" in words(answer)
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"clinic": " "}, "Name of the clinic: write it"),
        ({"time_zone": "Mars/Olympus"}, "Time zone: choose one from the list"),
        ({"chairs": "\n"}, "Chairs: write at least one"),
        ({"label_address": "https://rims.example/x"}, "Address on labels: write a host name"),
        ({"name": ""}, "Your name: write it"),
        ({"pin": "123456", "again": "123456"}, "PIN: This PIN is guessed first"),
        ({"pin": "12345", "again": "12345"}, "PIN: A PIN has 6 to 32 digits"),
        ({"again": "864201"}, "PIN once more: this is another one"),
    ],
)
def test_a_slip_is_named_and_nothing_typed_is_lost_but_the_pin(site, wrong, says):
    _, answer = set_up(site, **wrong)
    assert answer.status_code == 422
    assert says in words(answer)
    assert ("Noor Haddad" in answer.text) == ("name" not in wrong)
    assert MANAGER_PIN not in answer.text


# ---- set up


def test_the_link_makes_the_first_manager_who_is_signed_in_and_works_once(site, manager, folder):
    page = words(manager.get("/people"))
    assert "Noor Haddad" in page
    assert "The clinic: set up" in page
    assert site.web().get("/ready").status_code == 200
    assert json.loads((folder / "clinic.json").read_text())["chairs"] == ["1", "2", "Care home bag"]
    _, again = set_up(site, name="Somebody Else")
    assert again.headers["location"] == "/set-up"
    assert site.app.state.set_up.link("this server", "") is None


def test_what_is_not_invented_is_not_called_so(manager):
    assert "Demonstration" not in words(manager.get("/people"))


# ---- people


@pytest.fixture(scope="module")
def ada(site, manager):
    """Somebody new, who chose a PIN by the link: their browser."""
    added = manager.post("/people/new", data={"name": "Ada Lindqvist", "role": "clinician", "licence": "INV-1"})
    web = site.web()
    link = link_in(added)
    assert "Ada Lindqvist" in words(web.get(link))
    code = link.partition("=")[2]
    weak = web.post("/pin/new", data={"code": code, "pin": "111111", "again": "111111"})
    assert "guessed first" in words(weak)
    chosen = web.post("/pin/new", data={"code": code, "pin": "975310", "again": "975310"})
    assert chosen.status_code == 303
    return web, code


def test_somebody_new_chooses_a_pin_by_a_link_and_is_signed_in(site, ada):
    web, _ = ada
    assert web.get("/label").status_code == 200
    assert web.get("/people").status_code == 403
    assert sign_in(site, "ada-lindqvist", "975310")[1].headers["location"] == "/label"


def test_a_pin_link_works_once(site, ada):
    _, code = ada
    answer = site.web().post("/pin/new", data={"code": code, "pin": "864201", "again": "864201"})
    assert answer.headers["location"] == "/pin/new"
    assert "wrong=pin" in sign_in(site, "ada-lindqvist", "864201")[1].headers["location"]


def test_a_clinician_changes_nothing_of_people(ada):
    web, _ = ada
    for path in ("/people/new", "/people/clinic", "/people/staff/ada-lindqvist", "/people/staff/noor-haddad/pin"):
        assert web.post(path, data={"name": "X", "role": "manager"}).status_code == 403


def test_changing_the_own_pin_asks_for_the_one_until_now_and_ends_other_sessions(site, ada):
    other, _ = sign_in(site, "ada-lindqvist", "975310")
    web, _ = sign_in(site, "ada-lindqvist", "975310")
    twice = {"pin": "846200", "again": "846200"}
    assert "PIN until now: This is not the PIN" in words(web.post("/pin", data={"old": "000000"} | twice))
    assert web.post("/pin", data={"old": "975310"} | twice).status_code == 303
    assert web.get("/label").status_code == 200
    assert other.get("/label").status_code == 303
    back = {"old": "846200", "pin": "975310", "again": "975310"}
    assert web.post("/pin", data=back).status_code == 303


def test_a_person_is_changed_and_the_page_says_who_changed_what(manager, ada):
    changed = {"name": "Ada Lindqvist-Ray", "role": "supervised", "licence": "", "active": "yes"}
    assert manager.post("/people/staff/ada-lindqvist", data=changed).headers["location"] == "/people"
    page = words(manager.get("/people"))
    said = "name Ada Lindqvist → Ada Lindqvist-Ray; role Clinician → Supervised clinician; licence number INV-1 → none"
    assert said in page


def test_a_slip_in_a_person_is_named(manager):
    answer = manager.post("/people/new", data={"name": "", "role": "king", "licence": "9" * 61})
    assert answer.status_code == 422
    page = words(answer)
    for says in ("Name: write it", "Role: choose one", "Licence number: up to 60"):
        assert says in page


def test_the_last_manager_stays_one(manager):
    answer = manager.post("/people/staff/noor-haddad", data={"name": "Noor Haddad", "role": "assistant"})
    assert "the only one. Make somebody else a manager first." in words(answer)
    left = {"name": "Noor Haddad", "role": "manager", "active": "no"}
    assert manager.post("/people/staff/noor-haddad", data=left).status_code == 422


def test_who_left_is_signed_out_at_once_and_cannot_come_back_by_an_old_link(site, manager):
    added = manager.post("/people/new", data={"name": "Ben Osei", "role": "assistant"})
    web = site.web()
    code = link_in(added).partition("=")[2]
    web.post("/pin/new", data={"code": code, "pin": "975310", "again": "975310"})
    assert web.get("/label").status_code == 200
    old = link_in(manager.post("/people/staff/ben-osei/pin")).partition("=")[2]
    manager.post("/people/staff/ben-osei", data={"name": "Ben Osei", "role": "assistant", "active": "no"})
    assert web.get("/label").status_code == 303
    assert "set-cookie" not in sign_in(site, "ben-osei", "975310")[1].headers
    answer = site.web().post("/pin/new", data={"code": old, "pin": "864201", "again": "864201"})
    assert answer.headers["location"] == "/pin/new"
    assert "Ben Osei" not in words(site.web().get("/sign-in"))
    assert "Ben Osei: left" in words(manager.get("/people"))


def test_an_id_is_not_used_again_by_somebody_of_the_same_name(manager):
    manager.post("/people/new", data={"name": "Ben Osei", "role": "assistant"})
    assert manager.get("/people/staff/ben-osei-2").status_code == 200
    assert "Ben Osei" in manager.get("/people/staff/ben-osei-2").text


def test_the_clinics_settings_are_changed_and_a_long_address_is_warned_of(manager, folder):
    changed = {
        "clinic": "Green Door Practice",
        "time_zone": "Asia/Tokyo",
        "chairs": "1",
        "label_address": "a-name-of-many-letters.example",
        "languages": "en",
        "prescription_fields": "Registration",
    }
    assert manager.post("/people/clinic", data=changed).status_code == 303
    page = words(manager.get("/people"))
    assert "too long for their symbol" in page
    assert "time zone Europe/Lisbon → Asia/Tokyo" in page
    manager.post("/people/clinic", data=changed | {"label_address": "rims.example"})
    assert "too long for their symbol" not in words(manager.get("/people"))
    assert json.loads((folder / "clinic.json").read_text())["prescription_fields"] == ["Registration"]


def test_no_device_changes_the_clinic_document_over_the_hop(site, manager, folder):
    code = site.app.state.pairing_codes.make()
    node = site.web().post("/pair", json={"kind": "node", "name": "Bag", "code": code}).json()
    token = {"Authorization": f"Bearer {node['token']}"}
    held = manager.get("/sync/entries", params={"visit": CLINIC_VISIT}, headers=token).json()["entries"]
    forged = held[0] | {"id": held[0]["id"][:-4] + "ffff", "value": held[0]["value"] | {"name": "Mallory"}}
    answer = site.web().post("/sync/entries", json={"entries": [forged, held[0]]}, headers=token).json()
    assert [(refused["id"], refused["field"]) for refused in answer["refused"]] == [(forged["id"], "kind")]
    assert answer["stored"] == [held[0]["id"]]
    assert "Mallory" not in (folder / "clinic.json").read_text()


def test_a_pin_is_in_no_document_entry_or_answer(site, manager, folder):
    assert MANAGER_PIN not in manager.get("/people").text
    assert b"argon2" not in (folder / "clinic.json").read_bytes()
    code = site.app.state.pairing_codes.make()
    tablet = site.web().post("/pair", json={"kind": "tablet", "name": "Chair 1", "code": code}).json()
    token = {"Authorization": f"Bearer {tablet['token']}"}
    assert "argon2" not in site.web().get("/sync/clinic", headers=token).text
    assert site.web().get("/sync/pins", headers=token).status_code == 403


# ---- links


def test_a_link_is_over_after_a_day_and_a_clock_set_back_makes_it_last_no_longer(tmp_path):
    clock = [1_800_000_000_000]
    links = Links(FileSafe(tmp_path / "people.json"), "links", lambda: clock[0])
    code = links.make("ada")
    assert links.purpose(code) == "ada"
    clock[0] += DAY_MS
    assert links.purpose(code) is None
    clock[0] -= DAY_MS + 1
    assert links.use(code) is None


def test_a_new_link_for_the_same_ends_the_one_before(tmp_path):
    links = Links(FileSafe(tmp_path / "people.json"), "links")
    first, other, second = links.make("ada"), links.make("ben"), links.make("ada")
    assert [links.use(code) for code in (first, second, second, other)] == [None, "ada", None, "ben"]
    assert first not in (tmp_path / "people.json").read_text()


# ---- guessing, by who calls


@pytest.fixture
def thief(site, monkeypatch):
    """A browser at an address from which as many wrong tries came as are free."""
    monkeypatch.setattr(site.doors, "tries", Callers())
    web = site.web()
    for number in range(FREE_TRIES - 1):
        site.doors.tries.wrong("testclient")
        assert site.doors.tries.wait("testclient") == 0, number
    return web


def test_a_caller_guessing_pins_of_one_person_after_another_has_to_wait(site, manager, thief):
    def sign_in_as(person, pin):
        return thief.post("/sign-in", data={"person": person, "pin": pin}).headers["location"]

    assert "wrong=pin" in sign_in_as("nobody-at-all", "135790")
    assert re.search(r"wait=(29|30)$", sign_in_as(site.doors._clinic().staff[0].id, MANAGER_PIN))


@pytest.mark.parametrize("path", ["/set-up", "/pin/new"])
def test_a_caller_guessing_links_has_to_wait(manager, thief, path):
    assert thief.post(path, data={"code": "guessed", "pin": "135790", "again": "135790"}).status_code == 303
    refused = thief.post(path, data={"code": "guessed", "pin": "135790", "again": "135790"})
    assert refused.status_code == 429
    assert 0 < int(refused.headers["retry-after"]) <= 30
    assert "Too many wrong tries" in words(refused)
