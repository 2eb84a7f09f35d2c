"""The guard around a node: whom it answers, and what it adds to an answer."""

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route, WebSocketRoute
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from chairapp.web.guard import Guard


async def plain(_):
    return PlainTextResponse("here")


async def strict(_):
    return PlainTextResponse("worker", headers={"Content-Security-Policy": "default-src 'none'"})


async def echo(socket):
    await socket.accept()
    await socket.send_text("open")
    await socket.close()


@pytest.fixture
def client():
    app = Starlette(
        routes=[Route("/", plain), Route("/worker", strict), Route("/chair", plain), WebSocketRoute("/socket", echo)]
    )
    return TestClient(Guard(app), base_url="http://127.0.0.1:8080")


@pytest.mark.parametrize("host", ["127.0.0.1:8080", "localhost", "[::1]:8080", "LOCALHOST:1"])
def test_this_machines_names_are_answered(client, host):
    assert client.get("/", headers={"Host": host}).text == "here"


@pytest.mark.parametrize("host", ["rims.example", "127.0.0.1.rims.example:8080", "10.0.0.1", ""])
def test_other_names_are_not(client, host):
    assert client.get("/", headers={"Host": host}).status_code == 421


def test_a_policy_a_route_set_itself_is_left_alone(client):
    assert client.get("/worker").headers["content-security-policy"] == "default-src 'none'"
    assert "default-src 'self'" in client.get("/").headers["content-security-policy"]


def test_a_socket_of_this_nodes_own_page_is_opened(client):
    with client.websocket_connect(
        "/socket", headers={"Origin": "http://127.0.0.1:8080", "Host": "127.0.0.1:8080"}
    ) as socket:
        assert socket.receive_text() == "open"


@pytest.mark.parametrize("origin", ["https://rims.example", "http://127.0.0.1:9999", "null"])
def test_a_socket_of_another_sites_page_is_refused(client, origin):
    with (
        pytest.raises(WebSocketDisconnect),
        client.websocket_connect("/socket", headers={"Origin": origin, "Host": "127.0.0.1:8080"}),
    ):
        pass


def test_two_host_headers_are_one_too_many(client):
    assert client.get("/", headers=[("Host", "127.0.0.1"), ("Host", "rims.example")]).status_code == 421


def test_the_camera_is_for_the_tablet_page_alone(client):
    assert "camera=(self)" in client.get("/chair").headers["permissions-policy"]
    assert "camera=()" in client.get("/").headers["permissions-policy"]


@pytest.mark.parametrize(
    "word", ["frame-ancestors 'none'", "object-src 'none'", "base-uri 'none'", "form-action 'self'"]
)
def test_no_page_is_framed_or_sends_its_forms_elsewhere(client, word):
    headers = client.get("/").headers
    assert word in headers["content-security-policy"]
    assert "http" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
