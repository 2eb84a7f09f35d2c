"""Pairing: trusted from this machine's own pages only; identities and letters are the clinic's."""

from collections import namedtuple

import pytest

from chairapp.box.code import ALPHABET
from chairapp.people.pairing import next_letter

Given = namedtuple("Given", "kind letter")


def pair(node, headers=None, **body):
    return node.http.post("/pair", json={"kind": "tablet", "name": "Tablet"} | body, headers=headers or {})


def test_a_tablet_paired_at_the_chair_node_is_known_at_both(chair, clinic, tablet):
    assert tablet.letter in ALPHABET
    assert tablet.get(chair, "/sync/clinic").status_code == 200
    assert tablet.get(clinic, "/sync/clinic").status_code == 200


def test_each_tablet_gets_a_letter_and_an_id_of_its_own(chair, clinic):
    paired = [pair(node).json() for node in (chair, clinic, chair)]
    assert len({one["letter"] for one in paired}) == 3
    assert len({one["device"] for one in paired}) == 3


def test_the_answer_is_kept_by_nobody_on_the_way(chair):
    assert pair(chair).headers["cache-control"] == "no-store"


@pytest.mark.parametrize(
    ("headers", "field"),
    [
        ({"Origin": "https://elsewhere.example"}, "origin"),
        ({"Origin": "null"}, "origin"),
        ({"X-Forwarded-For": "10.0.0.9"}, "host"),
        ({"Forwarded": "for=10.0.0.9"}, "host"),
        ({"Via": "1.1 proxy"}, "host"),
    ],
)
def test_a_request_from_elsewhere_is_refused(chair, clinic, headers, field):
    for node in (chair, clinic):
        answer = pair(node, headers)
        assert answer.status_code == 403
        assert answer.json()["error"]["field"] == field


def test_a_page_of_this_node_may_pair(chair):
    assert pair(chair, {"Origin": chair.url}).status_code == 200


@pytest.mark.parametrize("host", ["clinic.example", "127.0.0.1.example:8080", "192.168.1.4"])
@pytest.mark.parametrize("path", ["/pair", "/sync/clinic", "/", "/label"])
def test_a_name_of_another_site_that_points_here_is_refused_everywhere(chair, host, path):
    answer = chair.http.get(path, headers={"Host": host})
    assert answer.status_code == 421
    assert answer.json()["error"]["do"] == "open it at 127.0.0.1"


@pytest.mark.parametrize(
    ("body", "field"),
    [({"kind": "printer"}, "kind"), ({"name": ""}, "name"), ({"name": "x" * 81}, "name"), ({"pin": "1"}, "pin")],
)
def test_a_wrong_request_is_refused_naming_the_field(chair, body, field):
    answer = pair(chair, **body)
    assert answer.status_code == 422
    assert answer.json()["error"]["field"] == field


def test_what_is_no_json_is_refused(chair):
    answer = chair.http.post("/pair", content=b"{")
    assert answer.status_code == 422
    assert set(answer.json()["error"]) == {"field", "why", "do"}


def test_a_token_of_no_node_passes_nothing_on(clinic, tablet):
    for token in ("made-up", tablet.headers["Authorization"].partition(" ")[2]):
        assert pair(clinic, {"Authorization": f"Bearer {token}"}).status_code == 401


def test_letters_are_shared_only_when_all_are_given_out():
    given = []
    for _ in range(2 * len(ALPHABET)):
        given.append(Given("tablet", next_letter(given, ALPHABET)))
    assert [device.letter for device in given] == [*ALPHABET, *ALPHABET]


def test_nodes_take_no_letters():
    assert next_letter([Given("node", "")] * 3, ALPHABET) == ALPHABET[0]
