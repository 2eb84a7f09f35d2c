"""A tablet whose page came from one node of the clinic may hand in at another; a page of anybody else may not."""

import pytest
from pydantic import ValidationError

from chairapp.node.addresses import Address, Addresses, all_names_of
from sync.access import FileDevices
from tests.node.conftest import until

FOREIGN = "https://elsewhere.example"


def preflight(node, origin):
    asked = {"Origin": origin, "Access-Control-Request-Method": "POST"}
    return node.http.options("/sync/entries", headers=asked)


def hand_in(node, tablet, entries, origin):
    headers = tablet.headers | {"Origin": origin}
    return node.http.post("/sync/entries", headers=headers, json={"entries": entries})


def test_the_clinic_document_says_where_the_clinic_itself_answers(chair, clinic, tablet):
    assert tablet.clinic["address"] == clinic.url
    assert tablet.get(chair, "/sync/clinic").json()["address"] == clinic.url


def test_a_tablet_whose_page_came_from_a_chair_node_hands_in_at_the_clinic(chair, clinic, tablet):
    until(lambda: preflight(clinic, chair.url).status_code == 204, "the clinic knows the chair node's address")
    entries = tablet.visit(chair)
    answer = hand_in(clinic, tablet, entries, chair.url)
    assert answer.headers["access-control-allow-origin"] == chair.url
    assert answer.json()["stored"] == [entry["id"] for entry in entries]


def test_a_tablet_whose_page_came_from_the_clinic_hands_in_at_a_chair_node(chair, clinic, tablet):
    assert preflight(chair, clinic.url).headers["access-control-allow-origin"] == clinic.url
    entries = tablet.visit(chair, start=1_795_700_000_000)
    assert hand_in(chair, tablet, entries, clinic.url).json()["stored"] == [entry["id"] for entry in entries]


@pytest.mark.parametrize("origin", [FOREIGN, "null", "http://127.0.0.1:1"])
def test_a_page_of_anybody_else_is_refused_at_both_nodes(chair, clinic, tablet, origin):
    for node in (chair, clinic):
        for answer in (preflight(node, origin), hand_in(node, tablet, [], origin)):
            assert answer.status_code == 403
            assert answer.json()["error"]["field"] == "Origin"
            assert "access-control-allow-origin" not in answer.headers


def test_a_page_of_this_machine_is_known_under_each_of_its_names(chair, clinic):
    until(lambda: preflight(clinic, chair.url).status_code == 204, "the clinic knows the chair node's address")
    assert preflight(clinic, f"http://localhost:{chair.port}").status_code == 204


def test_the_page_of_a_chair_node_may_call_itself_and_its_clinic_and_nobody_else(chair, clinic):
    policy = chair.http.get("/chair").headers["content-security-policy"]
    (rule,) = [rule for rule in policy.split("; ") if rule.startswith("connect-src")]
    assert rule.split()[1:] == ["'self'", clinic.url, f"http://localhost:{clinic.port}"]


def test_a_tablet_tells_no_address(clinic, tablet):
    answer = clinic.http.put("/sync/address", headers=tablet.headers, json={"address": FOREIGN})
    assert answer.status_code == 403
    assert preflight(clinic, FOREIGN).status_code == 403


@pytest.mark.parametrize("body", [b"", b"{}", b'{"address": 5}', b'{"address": "http://elsewhere.example"}', b"\xff"])
def test_an_address_that_is_none_is_refused_in_the_one_shape_of_errors(clinic, body):
    node = clinic.pair("node", "Bag")
    answer = clinic.http.put("/sync/address", headers=node.headers, content=body)
    assert answer.status_code == 422
    assert set(answer.json()["error"]) == {"field", "why", "do"}
    assert "address" in answer.json()["error"]["do"]


@pytest.mark.parametrize(
    ("typed", "origin"),
    [
        ("https://chair-1.clinic.example", "https://chair-1.clinic.example"),
        ("https://chair-1.clinic.example/", "https://chair-1.clinic.example"),
        ("https://Chair-1.clinic.example:443", "https://chair-1.clinic.example"),
        ("https://chair-1.clinic.example:8443", "https://chair-1.clinic.example:8443"),
        ("http://127.0.0.1:8080", "http://127.0.0.1:8080"),
        ("http://[::1]:8080", "http://[::1]:8080"),
    ],
)
def test_an_address_is_kept_as_a_browser_writes_it(typed, origin):
    assert Address(address=typed).address == origin


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "*",
        "null",
        "chair-1",
        "ftp://chair-1.example",
        "http://chair-1.example",
        "https://chair-1.example/path",
        "https://me@chair-1.example",
        "https://chair-1.example?x",
        "https://chair-1.example:99999",
        "https://ch\u00e4ir.example",
        f"https://{'a' * 300}.example",
    ],
)
def test_what_is_no_address_is_refused(typed):
    with pytest.raises(ValidationError):
        Address(address=typed)


def test_a_node_that_moved_or_was_removed_is_no_longer_known_at_its_old_address(tmp_path):
    devices = FileDevices(tmp_path / "devices.json")
    addresses = Addresses(tmp_path / "addresses.json", devices)
    node, _ = devices.add("node", "Bag", "")
    addresses.put(node.id, "https://old.example")
    addresses.put(node.id, "https://new.example")
    assert addresses.origins() == {"https://new.example"}
    devices.revoke(node.id)
    assert addresses.origins() == set()


def test_only_addresses_of_this_machine_have_further_names():
    assert all_names_of(["https://chair-1.example"]) == {"https://chair-1.example"}
    assert all_names_of(["http://localhost:80"]) >= {"http://127.0.0.1:80", "http://[::1]:80"}
