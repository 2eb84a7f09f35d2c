"""A chair node and its clinic server: what is handed in at one is at the other exactly once, whoever was away when."""

import copy
from zlib import crc32

import pytest

from chairapp.node.reading import check_all
from tests.node.conftest import START_MS, until


def ids(entries):
    return sorted(entry["id"] for entry in entries)


def test_entries_handed_in_at_the_chair_node_reach_the_clinic_server_once(chair, clinic, tablet):
    entries = tablet.visit(chair)
    for _ in range(3):
        assert sorted(tablet.hand_in(chair, entries)["stored"]) == ids(entries)
    visit = entries[0]["visit"]
    until(lambda: len(tablet.held(clinic, visit)) >= len(entries), "the entries are at the clinic server")
    assert sorted(tablet.held(clinic, visit)) == ids(entries)
    assert sorted(tablet.held(chair, visit)) == ids(entries)


def test_the_chair_node_works_on_while_the_clinic_server_is_away_and_forwards_afterwards(make_node):
    clinic = make_node("clinic").start()
    chair = make_node("chair", "--clinic", clinic.url).start()
    tablet = chair.pair()
    clinic.kill()
    entries = tablet.visit(chair)
    half = len(entries) // 2
    assert sorted(tablet.hand_in(chair, entries[:half])["stored"]) == ids(entries[:half])
    assert tablet.get(chair, "/sync/clinic").json() == tablet.clinic

    away = chair.http.post("/pair", json={"kind": "tablet", "name": "Another"})
    assert away.status_code == 503
    assert "clinic server cannot be reached" in away.json()["error"]["why"]

    chair.kill()
    chair.start()
    assert sorted(tablet.hand_in(chair, entries)["stored"]) == ids(entries)
    clinic.start()
    visit = entries[0]["visit"]
    until(lambda: len(tablet.held(clinic, visit)) >= len(entries), "the entries are at the clinic server")
    assert sorted(tablet.held(clinic, visit)) == ids(entries)
    for node in (chair, clinic):
        assert check_all(node.data, None).flaw is None


def test_a_chair_node_that_never_met_its_clinic_server_says_so_and_joins_later(make_node):
    clinic = make_node("clinic")
    chair = make_node("chair", "--clinic", clinic.url).start(wait=False)
    answer = chair.http.post("/pair", json={"kind": "tablet", "name": "Tablet"})
    assert answer.status_code == 503
    assert "Waiting for the clinic server" in chair.http.get("/").text
    clinic.start()
    until(chair.ready, "the chair node has joined")
    assert chair.pair().letter


@pytest.mark.parametrize(
    ("kind", "item", "value", "field", "why"),
    [
        ("reading", "display.rest", "2 cm", "value", "2 cm"),
        ("reading", "vertical.rest", 700, "value", "700"),
        ("answer", "record.count", "three", "value", "three"),
        ("answer", "contact.gap", {"tongue": 1}, "value", "tongue"),
        ("answer", "display.fv", "sideways", "value", "sideways"),
        ("answer", "display.wrist", 1, "item", "display.wrist"),
    ],
)
def test_what_cannot_be_meant_is_refused_naming_the_field_and_blocks_nothing(
    chair, tablet, kind, item, value, field, why
):
    entries = tablet.visit(chair, start=START_MS + crc32(f"{item}{value}".encode()) % 10**6 * 1000)
    wrong = copy.deepcopy(entries[1]) | {"kind": kind, "item": item, "value": value}
    answer = tablet.hand_in(chair, [entries[0], wrong, *entries[2:]])
    (refused,) = answer["refused"]
    assert refused["id"] == wrong["id"]
    assert refused["field"].startswith(field)
    assert why in refused["why"]
    assert sorted(answer["stored"]) == ids([entries[0], *entries[2:]])


def test_a_visit_with_a_box_code_that_has_a_slip_is_refused(chair, tablet):
    entries = tablet.visit(chair, start=START_MS + 3_000_000_000)
    box = entries[0]["value"]["box"]
    entries[0]["value"]["box"] = box[:-1] + ("2" if box[-1] != "2" else "3")
    (refused,) = tablet.hand_in(chair, entries[:1])["refused"]
    assert refused["field"] == "value.box"


def test_broken_json_is_refused_in_the_one_shape_of_errors(chair, tablet):
    for body in (b"{", b'{"entries": [NaN', b"[]", b""):
        answer = chair.http.post("/sync/entries", content=body, headers=tablet.headers)
        assert answer.status_code == 422
        assert set(answer.json()["error"]) == {"field", "why", "do"}


def test_the_log_is_json_lines_without_names_values_or_tokens(chair, tablet):
    log = chair.log.read_text()
    assert all(line.startswith("{") for line in log.splitlines())
    for secret in (tablet.headers["Authorization"].partition(" ")[2], "Lindqvist", "display.rest"):
        assert secret not in log


def test_secrets_are_for_the_owner_only_and_no_token_is_kept_in_the_open(chair, clinic, tablet):
    token = tablet.headers["Authorization"].partition(" ")[2]
    for node in (chair, clinic):
        for file in (node.data / "keys").iterdir():
            assert file.stat().st_mode & 0o077 == 0
        for file in node.data.rglob("*"):
            assert not file.is_file() or token.encode() not in file.read_bytes()
