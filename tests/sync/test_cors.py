"""Pages of the clinic's own nodes may call each other's /sync; pages of anybody else may not."""

import json
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from sync import border
from sync.access import FileDevices
from sync.cors import Cors
from sync.routes import routes
from sync.tiny_store import TinyStore
from tests.sync.conftest import Clock, Maker

CHAIR = "https://chair-1.clinic.example"
FOREIGN = ("https://elsewhere.example", "null", "https://chair-1.clinic.example:8443", "http://chair-1.clinic.example")
HERE = "http://testserver"


class Server:
    def __init__(self, folder: Path, clock: Clock) -> None:
        self.store = TinyStore(folder / "node", now=clock)
        devices = FileDevices(folder / "devices.json")
        self.tablet, token = devices.add("tablet", "Chair 1", "K")
        self.origins = {CHAIR}
        app = FastAPI()
        app.include_router(routes(self.store, devices, now=clock))
        border.answer_errors(app)
        app.get("/elsewhere")(_nothing)
        app.add_middleware(Cors, origins=lambda: self.origins)
        self.client = TestClient(app, headers={"Authorization": f"Bearer {token}"})

    def preflight(self, origin: str, **headers: str) -> httpx.Response:
        asked = {"Origin": origin, "Access-Control-Request-Method": "POST", **headers}
        return self.client.options("/sync/entries", headers=asked)

    def hand_in(self, entry: object, **headers: str) -> httpx.Response:
        return self.client.post("/sync/entries", content=json.dumps({"entries": [entry]}), headers=headers)


def _nothing() -> dict[str, str]:
    return {}


@pytest.fixture
def server(tmp_path: Path, clock: Clock) -> Iterator[Server]:
    server = Server(tmp_path, clock)
    with server.client:
        yield server
    server.store.close()


def test_a_preflight_of_a_known_origin_is_answered_with_that_origin_and_what_a_tablet_sends(server: Server) -> None:
    answer = server.preflight(CHAIR)
    assert answer.status_code == 204
    assert answer.headers["access-control-allow-origin"] == CHAIR
    assert "POST" in answer.headers["access-control-allow-methods"]
    sent = answer.headers["access-control-allow-headers"].lower().split(", ")
    assert {"authorization", "content-type", "content-encoding", "threemark-protocol", "if-none-match"} <= set(sent)
    assert answer.headers["vary"] == "Origin"


def test_cookies_are_never_allowed_and_no_answer_is_for_everybody(server: Server, clock: Clock) -> None:
    entry = Maker(server.tablet.id, clock).reading()
    for answer in (server.preflight(CHAIR), server.hand_in(entry, Origin=CHAIR), server.hand_in(entry, Origin=HERE)):
        assert "access-control-allow-credentials" not in answer.headers
        assert answer.headers.get("access-control-allow-origin") != "*"


def test_a_tablet_whose_page_came_from_a_known_node_hands_in_and_reads_the_answer(server: Server, clock: Clock) -> None:
    entry = Maker(server.tablet.id, clock).reading()
    answer = server.hand_in(entry, Origin=CHAIR)
    assert answer.json()["stored"] == [entry["id"]]
    assert answer.headers["access-control-allow-origin"] == CHAIR
    assert "Threemark-Protocol" in answer.headers["access-control-expose-headers"]
    assert "Origin" in answer.headers["vary"]


@pytest.mark.parametrize("origin", FOREIGN)
def test_a_page_of_any_other_origin_is_refused_and_nothing_is_kept(server: Server, clock: Clock, origin: str) -> None:
    refused = (server.preflight(origin), server.hand_in(Maker(server.tablet.id, clock).reading(), Origin=origin))
    for answer in refused:
        assert answer.status_code == 403
        assert answer.json()["error"]["field"] == "Origin"
        assert not [name for name in answer.headers if name.startswith("access-control")]
    assert server.store.head().position == 0


def test_an_error_too_can_be_read_by_a_known_origin(server: Server) -> None:
    answer = server.client.get("/sync/nothing", headers={"Origin": CHAIR})
    assert answer.status_code == 404
    assert answer.headers["access-control-allow-origin"] == CHAIR


def test_a_node_removed_from_the_clinic_is_foreign_from_that_moment(server: Server) -> None:
    assert server.preflight(CHAIR).status_code == 204
    server.origins.clear()
    assert server.preflight(CHAIR).status_code == 403


def test_calls_of_the_nodes_own_page_and_of_no_page_are_as_ever(server: Server, clock: Clock) -> None:
    maker = Maker(server.tablet.id, clock)
    for headers in ({}, {"Origin": HERE}):
        answer = server.hand_in(maker.reading(), **headers)
        assert answer.status_code == 200
        assert not [name for name in answer.headers if name.startswith("access-control")]


def test_only_the_hop_may_be_called_from_elsewhere(server: Server) -> None:
    answer = server.client.get("/elsewhere", headers={"Origin": CHAIR})
    assert not [name for name in answer.headers if name.startswith("access-control")]


def test_a_browser_that_asks_for_the_clinics_own_network_is_told_yes_for_a_known_origin_only(server: Server) -> None:
    asked = {"Access-Control-Request-Private-Network": "true"}
    name = "access-control-allow-private-network"
    assert server.preflight(CHAIR, **asked).headers[name] == "true"
    assert name not in server.preflight(FOREIGN[0], **asked).headers
    assert name not in server.preflight(CHAIR).headers
