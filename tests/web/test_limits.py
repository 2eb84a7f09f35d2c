"""What is too large, too slow or of two lengths, answered before anything reads it; tried at a real server too."""

import asyncio
import socket
import threading

import pytest
import uvicorn
from fastapi import FastAPI, Request
from fastapi.testclient import TestClient

from chairapp.web.guard import Guard
from chairapp.web.limits import HOP_MAX, PAGE_MAX, Limits


def app_of(seconds=60.0):
    app = FastAPI()
    app.state.read = []

    @app.post("/form")
    @app.post("/sync/entries")
    async def read(request: Request):
        body = await request.body()
        app.state.read.append(len(body))
        return len(body)

    app.add_middleware(Limits, seconds=seconds)
    app.add_middleware(Guard)
    return app


@pytest.fixture
def app():
    return app_of()


@pytest.fixture
def web(app):
    return TestClient(app, "http://127.0.0.1")


def in_parts(size, part=64 * 1024):
    for begin in range(0, size, part):
        yield b"x" * min(part, size - begin)


@pytest.mark.parametrize(("path", "most"), [("/form", PAGE_MAX), ("/sync/entries", HOP_MAX)])
def test_a_body_of_the_largest_size_is_taken_and_one_byte_more_is_not(web, app, path, most):
    assert web.post(path, content=b"x" * most).json() == most
    assert web.post(path, content=b"x" * (most + 1)).status_code == 413
    assert web.post(path, content=in_parts(most)).json() == most
    assert app.state.read == [most, most]


def test_a_body_that_does_not_say_its_size_is_counted_as_it_comes():
    app, sent = app_of(), []

    async def endless():
        sent.append(1)
        return {"type": "http.request", "body": b"x" * 65536, "more_body": True}

    assert asyncio.run(status_of(app, endless)) == 413
    assert len(sent) == PAGE_MAX // 65536 + 1


def test_a_body_that_never_ends_is_given_up():
    async def hanging():
        await asyncio.Event().wait()

    assert asyncio.run(status_of(app_of(seconds=0.05), hanging)) == 408


def test_a_body_by_drops_is_given_up_when_its_time_is_over_though_each_drop_is_in_time():
    async def drops():
        await asyncio.sleep(0.005)
        return {"type": "http.request", "body": b"x", "more_body": True}

    assert asyncio.run(status_of(app_of(seconds=0.05), drops)) == 408


async def status_of(app, receive):
    said = []

    async def send(message):
        said.append(message)

    scope = {"type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "POST", "scheme": "http"}
    scope |= {"path": "/form", "raw_path": b"/form", "query_string": b"", "client": ("127.0.0.1", 1), "root_path": ""}
    await app(scope | {"headers": [(b"host", b"127.0.0.1")], "server": ("127.0.0.1", 80)}, receive, send)
    return said[0]["status"]


def test_headers_without_end_are_refused(web):
    assert web.get("/form", headers={"Cookie": "x" * 40_000}).status_code == 431


@pytest.fixture(scope="module")
def server():
    """Of uvicorn, as a node runs it: what its parser lets through is seen as well."""
    listening = socket.create_server(("127.0.0.1", 0))
    app = app_of()
    running = uvicorn.Server(uvicorn.Config(app, log_config=None, proxy_headers=False))
    thread = threading.Thread(target=running.run, kwargs={"sockets": [listening]})
    thread.start()
    yield app, listening.getsockname()
    running.should_exit = True
    thread.join()


def answer_to(server, *lines, body=b""):
    """All the server says to these very bytes, until it closes."""
    with socket.create_connection(server[1], timeout=20) as line:
        line.sendall("\r\n".join((*lines, "Connection: close", "", "")).encode() + body)
        return b"".join(iter(lambda: line.recv(65536), b""))


@pytest.mark.parametrize(
    "lines",
    [
        ["Host: 127.0.0.1", "Content-Length: 4", "Transfer-Encoding: chunked"],
        ["Host: 127.0.0.1", "Content-Length: 4", "Content-Length: 5"],
        ["Host: 127.0.0.1", "Content-Length: +4"],
        ["Host: 127.0.0.1", "Host: rims.example", "Content-Length: 0"],
        ["Host: rims.example", "X-Forwarded-Host: 127.0.0.1", "Content-Length: 0"],
        ["Content-Length: 0"],
    ],
)
def test_a_request_that_a_proxy_could_read_otherwise_is_refused_and_read_by_nobody(server, lines):
    before = len(server[0].state.read)
    smuggled = b"0\r\n\r\nPOST /sync/entries HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 0\r\n\r\n"
    status = answer_to(server, "POST /form HTTP/1.1", *lines, body=smuggled).split(b"\r\n")[0]
    assert status.split()[1] in (b"400", b"421"), status
    assert len(server[0].state.read) == before
