"""The clinic server's own pages and routes: who is let in, how one signs in, and how that ends."""

import re

import httpx
import pytest

from chairapp.people.demo import DEMO_PIN
from chairapp.people.doors import local_path
from chairapp.people.pins import FREE_TRIES, Pins
from chairapp.people.safe import FileSafe
from chairapp.people.sessions import LONGEST_MS, Sessions
from tests.node.conftest import Node, invented_clinic
from tests.people.test_enrol import CLINIC

COOKIE = "threemark-clinic"


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    """A clinic server that is no demonstration, though its people are the invented ones."""
    node = Node("clinic", invented_clinic(tmp_path_factory.mktemp("doors") / "clinic"), "--demo", "no")
    yield node.start()
    node.end()


@pytest.fixture
def web(running):
    """A browser with nothing in it."""
    with httpx.Client(base_url=running.url, trust_env=False, timeout=20) as web:
        yield web


def sign_in(web, person, pin=DEMO_PIN, then="/audit", **headers):
    return web.post("/sign-in", data={"person": person, "pin": pin, "then": then}, headers=headers)


@pytest.mark.parametrize(
    "path", ["/label", "/boxes", "/audit", "/B/7KQ4M2X9", "/audit/export", "/audit/access", "/tablets"]
)
def test_whoever_is_not_signed_in_is_led_to_sign_in_and_back(web, path):
    answer = web.get(path)
    assert answer.status_code == 303
    assert answer.headers["location"] == f"/sign-in?then={path}"


def test_the_manager_signs_in_and_comes_to_where_they_wanted(web):
    answer = sign_in(web, "mgr-1")
    assert (answer.status_code, answer.headers["location"]) == (303, "/audit")
    page = web.get("/audit")
    assert page.status_code == 200
    assert "Ines Falk" in page.text


def test_another_role_is_told_so_and_can_change_person(web):
    sign_in(web, "asst-1")
    assert web.get("/label").status_code == 200
    refused = web.get("/audit")
    assert refused.status_code == 403
    assert "Change person" in refused.text
    assert web.post("/audit/export", data={"kind": "csv"}).status_code == 403


def test_a_route_without_a_session_leads_to_sign_in(web):
    assert web.post("/audit/export", data={"kind": "csv"}).headers["location"].startswith("/sign-in")


def test_the_cookie_is_for_this_node_only_and_out_of_reach_of_scripts(web):
    cookie = sign_in(web, "mgr-1").headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie


def test_a_wrong_pin_begins_no_session(web):
    answer = sign_in(web, "clin-1", "246802")
    assert "wrong=pin" in answer.headers["location"]
    assert "set-cookie" not in answer.headers
    assert web.get("/label").status_code == 303


def test_guessing_is_slowed_down_here_too(web):
    for _ in range(FREE_TRIES):
        sign_in(web, "clin-2", "246802")
    wait = re.search(r"wait=(\d+)$", sign_in(web, "clin-2").headers["location"])
    assert wait
    assert 20 <= int(wait[1]) <= 30


def test_signing_in_takes_no_token_from_outside_and_ends_the_one_before(web):
    web.cookies.clear()
    sign_in(web, "mgr-1", Cookie=f"{COOKIE}=a-token-somebody-chose")
    first = next(cookie.value for cookie in web.cookies.jar)
    assert first != "a-token-somebody-chose"
    web.cookies.clear()
    assert web.get("/label", headers={"Cookie": f"{COOKIE}=a-token-somebody-chose"}).status_code == 303
    second = web.post("/sign-in", data={"person": "asst-1", "pin": DEMO_PIN}, headers={"Cookie": f"{COOKIE}={first}"})
    assert second.status_code == 303
    web.cookies.clear()
    assert web.get("/audit", headers={"Cookie": f"{COOKIE}={first}"}).status_code == 303


def test_signing_out_ends_the_session_wherever_its_token_is(web):
    sign_in(web, "mgr-1")
    token = next(cookie.value for cookie in web.cookies.jar)
    web.post("/sign-out")
    assert web.get("/audit", headers={"Cookie": f"{COOKIE}={token}"}).status_code == 303


@pytest.mark.parametrize("headers", [{"Origin": "https://elsewhere.example"}, {"Sec-Fetch-Site": "cross-site"}])
def test_a_page_of_another_site_signs_nobody_in(web, headers):
    assert sign_in(web, "mgr-1", **headers).status_code == 403


@pytest.mark.parametrize(
    "given", ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example", "", "/a\nb"]
)
def test_nobody_is_led_to_another_site(given):
    assert local_path(given) == "/"


# ---- sessions


@pytest.fixture
def clock():
    return [1_800_000_000_000]


@pytest.fixture
def pins(tmp_path):
    pins = Pins(FileSafe(tmp_path / "people.json"), lambda: CLINIC)
    pins.set("mgr-1", DEMO_PIN)
    return pins


@pytest.fixture
def safe(tmp_path):
    return FileSafe(tmp_path / "people.json")


@pytest.fixture
def sessions(safe, pins, clock):
    return Sessions(safe, pins, lambda: CLINIC, 30, lambda: clock[0])


def test_a_session_ends_for_want_of_use_and_use_keeps_it(sessions, clock):
    token = sessions.begin("mgr-1")
    clock[0] += 29 * 60_000
    assert sessions.person(token).id == "mgr-1"
    clock[0] += 29 * 60_000
    assert sessions.person(token, used=False).id == "mgr-1"
    clock[0] += 60_000
    assert sessions.person(token) is None


def test_a_session_ends_after_twelve_hours_however_much_it_is_used(sessions, clock):
    token = sessions.begin("mgr-1")
    for _ in range(LONGEST_MS // (20 * 60_000) - 1):
        clock[0] += 20 * 60_000
        assert sessions.person(token)
    clock[0] += 20 * 60_000
    assert sessions.person(token) is None


def test_a_new_pin_ends_every_session_of_that_person(sessions, pins):
    token = sessions.begin("mgr-1")
    pins.set("mgr-1", "864209")
    assert sessions.person(token) is None


def test_a_clock_set_back_makes_no_session_last_longer(sessions, clock):
    token = sessions.begin("mgr-1")
    clock[0] -= 3_600_000
    assert sessions.person(token) is None


def test_another_server_on_the_same_secrets_knows_the_session(sessions, safe, pins, clock):
    token = sessions.begin("mgr-1")
    assert Sessions(safe, pins, lambda: CLINIC, 30, lambda: clock[0]).person(token).id == "mgr-1"


def test_no_token_is_kept_readable(sessions, tmp_path):
    assert sessions.begin("mgr-1") not in (tmp_path / "people.json").read_text()
