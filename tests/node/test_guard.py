"""The guard around a node: whom it answers, and what it adds to an answer."""

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route, WebSocketRoute
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from chairapp.node.headers import Guard


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
    app = Starlette(routes=[Route("/", plain), Route("/worker", strict), WebSocketRoute("/socket", echo)])
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
