"""A body nobody should send costs next to nothing: little memory, little time, and it holds up nobody else."""

import asyncio
import gzip
import json
import time
import tracemalloc
import zlib
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI

from sync.access import FileDevices
from sync.blobs import FolderBlobs
from sync.border import BODY_MAX
from sync.routes import routes
from sync.store import BATCH
from sync.tiny_store import TinyStore
from tests.sync.conftest import Clock, Maker

CHUNK = 64 * 1024
MB = 1024 * 1024


class Asked:
    """One call, made as the server makes it: how much of the body was asked for, and the answer."""

    def __init__(self, app: FastAPI, token: str, path: str = "/sync/entries", method: str = "POST") -> None:
        self._app, self._token, self._path, self._method = app, token, path, method
        self.read = 0
        self.status = 0
        self.answer = b""

    async def send(self, chunks: Iterator[bytes | None], **headers: str) -> "Asked":
        """None among the chunks never arrives."""
        named = {"host": "chair", **{name.replace("_", "-"): value for name, value in headers.items()}}
        if self._token:
            named["authorization"] = f"Bearer {self._token}"
        scope = {
            "type": "http", "method": self._method, "path": self._path, "raw_path": self._path.encode(),
            "query_string": b"", "scheme": "http", "http_version": "1.1", "root_path": "", "client": ("127.0.0.1", 1),
            "server": ("chair", 80), "headers": [(name.encode(), value.encode()) for name, value in named.items()],
        }  # fmt: skip

        async def receive() -> dict[str, Any]:
            chunk = next(chunks, b"")
            if chunk is None:
                await asyncio.Event().wait()
                raise AssertionError
            self.read += len(chunk)
            return {"type": "http.request", "body": chunk, "more_body": bool(chunk)}

        async def sent(message: dict[str, Any]) -> None:
            self.status = message.get("status", self.status)
            self.answer += message.get("body", b"")

        await self._app(scope, receive, sent)
        return self

    @property
    def error(self) -> dict[str, str]:
        return json.loads(self.answer)["error"]


Ask = Callable[..., Asked]


@pytest.fixture
def ask(chair: TinyStore, tmp_path: Path, clock: Clock) -> Ask:
    devices = FileDevices(tmp_path / "devices.json")
    _, token = devices.add("node", "Bag", "")
    app = FastAPI()
    app.include_router(routes(chair, devices, blobs=FolderBlobs(tmp_path / "blobs"), now=clock))
    return lambda paired=True, **where: Asked(app, token if paired else "", **where)


def now(call: Awaitable[Asked]) -> Asked:
    return asyncio.run(asyncio.wait_for(call, 60))


def endless() -> Iterator[bytes]:
    while True:
        yield b"[" * CHUNK


def test_a_body_said_to_be_too_large_is_refused_before_a_byte_of_it_is_read(ask: Ask) -> None:
    asked = now(ask().send(endless(), content_length=str(BODY_MAX + 1)))
    assert (asked.status, asked.error["field"], asked.read) == (413, "body", 0)


def test_a_body_without_end_is_refused_as_soon_as_it_is_too_large(ask: Ask) -> None:
    asked = now(ask().send(endless()))
    assert asked.status == 413
    assert asked.read <= BODY_MAX + CHUNK


def test_without_a_token_not_a_byte_is_read(ask: Ask) -> None:
    asked = now(ask(paired=False).send(endless()))
    assert (asked.status, asked.read) == (401, 0)


def test_a_small_body_that_unpacks_to_a_gigabyte_costs_no_more_than_a_body_may_have(ask: Ask) -> None:
    bomb = _bomb(1024)
    assert len(bomb) < 2 * MB
    tracemalloc.start()
    asked = now(ask().send(iter([bomb]), content_encoding="gzip"))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert (asked.status, asked.error["field"]) == (413, "body")
    assert peak < 16 * MB


def _bomb(megabytes: int) -> bytes:
    """Zeros, packed by megabytes that know nothing of each other, so that one of them stands for all that follow.

    Its check sum at the end is that of two megabytes only; nobody should read so far.
    """
    packer = zlib.compressobj(9, zlib.DEFLATED, zlib.MAX_WBITS | 16)
    first, next_one = (packer.compress(bytes(MB)) + packer.flush(zlib.Z_FULL_FLUSH) for _ in range(2))
    return first + next_one * (megabytes - 1) + packer.flush()


def test_the_bomb_unpacks_to_as_much_as_it_says() -> None:
    unpacker = zlib.decompressobj(zlib.MAX_WBITS | 16)
    bomb = _bomb(20)
    assert unpacker.decompress(bomb[:-8]) == bytes(20 * MB)


DEEP = {
    "a body that is only brackets": b"[" * (BODY_MAX - 1),
    "objects in objects": b'{"a":' * 300_000,
    "a deep list among the entries": b'{"entries":[' + b"[" * 900_000 + b"]" * 900_000 + b"]}",
}


@pytest.mark.parametrize("name", DEEP)
def test_a_deep_body_is_refused_at_once(ask: Ask, name: str) -> None:
    began = time.perf_counter()
    asked = now(ask().send(iter([DEEP[name]])))
    assert (asked.status, asked.error["field"]) == (422, "body")
    assert time.perf_counter() - began < 1


@pytest.mark.parametrize("depth", [5, 100, 400, 900])
@pytest.mark.parametrize("field", ["value", "seen", "id", "other"])
def test_an_entry_nested_too_deep_is_refused_by_itself_and_blocks_nobody(
    ask: Ask, chair: TinyStore, maker: Maker, field: str, depth: int
) -> None:
    """Whatever depth the reader of JSON lets pass: the entry is refused, or the body, and nothing breaks."""
    nested = b"[" * depth + b"]" * depth
    good = json.dumps(maker.reading()).encode()
    bad = json.dumps({**maker.reading(), field: "@"}).encode().replace(b'"@"', nested)
    asked = now(ask().send(iter([b'{"entries":[' + bad + b"," + good + b"]}"])))
    if asked.status == 422:
        assert asked.error["field"] == "body"
    else:
        answer = json.loads(asked.answer)
        assert asked.status == 200
        assert (len(answer["stored"]), len(answer["refused"])) == (1, 1)
        assert len(chair.refused()) == 1


@pytest.mark.parametrize("data", [b"\xff\xfe{}", b'{"entries": ["\xc3"]}', b'{"entries": ["\xed\xa0\x80"]}', b"\x00"])
def test_bytes_that_are_no_text_are_refused(ask: Ask, data: bytes) -> None:
    asked = now(ask().send(iter([data])))
    assert (asked.status, asked.error["field"]) == (422, "body")


def test_half_a_character_inside_an_entry_is_refused_and_can_still_be_shown(
    ask: Ask, chair: TinyStore, maker: Maker
) -> None:
    bad = json.dumps({**maker.reading(), "value": "@"}).encode().replace(b"@", rb"\ud800")
    asked = now(ask().send(iter([b'{"entries":[' + bad + b"]}"])))
    [refused] = json.loads(asked.answer)["refused"]
    assert refused["field"] == "value"
    assert len(chair.refused()) == 1


def test_bodies_that_never_come_to_their_end_hold_up_nobody(ask: Ask, maker: Maker) -> None:
    """200 bodies that stop in the middle are under way while another call is made and answered."""

    async def all_of_it() -> Asked:
        begun = b'{"entries": ['
        hanging = [asyncio.create_task(ask().send(iter([begun, None]))) for _ in range(200)]
        await asyncio.sleep(0)
        try:
            return await ask().send(iter([json.dumps({"entries": [maker.reading()]}).encode()]))
        finally:
            assert not any(task.done() for task in hanging)
            for task in hanging:
                task.cancel()
            await asyncio.gather(*hanging, return_exceptions=True)

    began = time.perf_counter()
    asked = now(all_of_it())
    assert len(json.loads(asked.answer)["stored"]) == 1
    assert time.perf_counter() - began < 5


def test_a_batch_of_nonsense_costs_no_more_than_one_of_entries(ask: Ask, chair: TinyStore, maker: Maker) -> None:
    nonsense = json.dumps({"entries": list(range(BATCH))}).encode()
    entries = json.dumps({"entries": maker.readings(BATCH)}).encode()
    times = []
    for body in (entries, nonsense):
        # Of the processor: how long a busy disk keeps either waiting says nothing of what they cost.
        began = time.process_time()
        assert now(ask().send(iter([body]))).status == 200
        times.append(time.process_time() - began)
    assert times[1] < 5 * times[0] + 1


def test_an_attachment_too_large_is_refused_before_it_is_read(ask: Ask) -> None:
    where = {"path": "/sync/blobs/" + "0" * 64, "method": "PUT"}
    asked = now(ask(**where).send(endless(), content_length=str(BODY_MAX + 1)))
    assert (asked.status, asked.read) == (413, 0)
    packed = gzip.compress(b"x")
    assert now(ask(**where).send(iter([packed]), content_encoding="gzip")).status == 422
