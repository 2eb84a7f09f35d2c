"""A chair node has the bytes of every attachment named in the visits it fetched, and gives them to its tablets."""

import asyncio
import hashlib
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from sync import erased
from sync.blobs import BLOB_MAX
from sync.errors import HopError
from sync.routes import routes
from tests.sync.conftest import Clock, Maker
from tests.sync.test_forward_blobs import PICTURE
from tests.sync.two_nodes import Nodes

MINUTE = 60 * 1000
NAME = hashlib.sha256(PICTURE).hexdigest()


class Elsewhere:
    """Another tablet, whose visit is at the clinic already."""

    def __init__(self, nodes: Nodes) -> None:
        self.nodes, self.maker = nodes, Maker("tablet-2", nodes.clock)

    def attach(self, data: bytes, *, bytes_too: bool = True) -> str:
        name = hashlib.sha256(data).hexdigest()
        value = {"sha256": name, "type": "image/png", "bytes": len(data)}
        self.nodes.clinic.add([self.maker.stamper.entry(self.maker.visit, "attachment", author="staff-1", value=value)])
        if bytes_too:
            self.nodes.blobs.put(name, data)
        return name


@pytest.fixture
def elsewhere(nodes: Nodes) -> Elsewhere:
    return Elsewhere(nodes)


def _asked(nodes: Nodes) -> list[str]:
    paths = [path for method, path, _ in nodes.wire.asked if method == "GET"]
    return [path.rpartition("/")[2] for path in paths if "/blobs/" in path]


def test_a_visit_that_is_fetched_brings_its_pictures_and_a_tablet_opens_them_at_the_chair_node(
    nodes: Nodes,
    elsewhere: Elsewhere,
) -> None:
    name = elsewhere.attach(PICTURE)
    nodes.once()
    nodes.once()
    assert _asked(nodes) == [name]
    app = FastAPI()
    app.include_router(routes(nodes.chair, nodes.devices, blobs=nodes.chair_blobs))
    _, token = nodes.devices.add("tablet", "Chair 1", "K")
    nodes.wire.down = True

    async def opened() -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://chair.invalid") as client:
            return await client.get(f"/sync/blobs/{name}", headers={"Authorization": f"Bearer {token}"})

    assert asyncio.run(opened()).content == PICTURE


def test_an_outage_in_the_middle_fetches_only_the_rest(nodes: Nodes, elsewhere: Elsewhere) -> None:
    names = [elsewhere.attach(PICTURE + bytes([number])) for number in range(4)]
    nodes.wire.cut_after = 4
    with pytest.raises(HopError):
        nodes.once()
    first = _asked(nodes)
    assert 0 < len(first) < 4
    nodes.wire.mend()
    nodes.once()
    assert [*first, *_asked(nodes)] == names
    assert [hashlib.sha256(nodes.chair_blobs.get(name)).hexdigest() for name in names] == names


def test_bytes_the_clinic_does_not_have_yet_are_asked_for_ever_more_rarely_until_they_come(
    nodes: Nodes,
    elsewhere: Elsewhere,
    clock: Clock,
) -> None:
    name = elsewhere.attach(PICTURE, bytes_too=False)
    asked: list[int] = []
    began = clock.now
    for minute in range(20):
        clock.now = began + minute * MINUTE
        nodes.wire.mend()
        nodes.once()
        if _asked(nodes):
            asked.append(minute)
    assert asked == [0, 1, 2, 4, 8, 16]
    nodes.blobs.put(name, PICTURE)
    clock.now = began + 32 * MINUTE
    nodes.once()
    assert nodes.chair_blobs.get(name) == PICTURE
    nodes.wire.mend()
    clock.now += 100 * MINUTE
    nodes.once()
    assert _asked(nodes) == []


@pytest.mark.parametrize("spoilt", [b"other bytes", b"", bytes(BLOB_MAX + 1), bytes(3 * BLOB_MAX)])
def test_bytes_that_are_not_what_they_are_called_are_not_kept_and_hold_up_no_other(
    nodes: Nodes,
    elsewhere: Elsewhere,
    clock: Clock,
    monkeypatch: pytest.MonkeyPatch,
    spoilt: bytes,
) -> None:
    bad, good = elsewhere.attach(b"bad"), elsewhere.attach(b"good")
    get = type(nodes.blobs).get
    with monkeypatch.context() as wrong:
        wrong.setattr(nodes.blobs, "get", lambda name: spoilt if name == bad else get(nodes.blobs, name))
        nodes.once()
    assert nodes.chair_blobs.get(good) == b"good"
    assert nodes.chair_blobs.since(bad) is None
    clock.now += MINUTE
    nodes.once()
    assert nodes.chair_blobs.get(bad) == b"bad"


def test_bytes_a_tablet_took_straight_to_the_clinic_come_back_to_its_chair_node(
    nodes: Nodes,
    maker: Maker,
    clock: Clock,
) -> None:
    nodes.attach(maker, PICTURE)
    nodes.once()
    assert _asked(nodes) == []
    nodes.blobs.put(NAME, PICTURE)
    clock.now += MINUTE
    nodes.once()
    assert nodes.chair_blobs.get(NAME) == PICTURE


def test_nothing_is_asked_for_that_was_erased_meanwhile(nodes: Nodes, elsewhere: Elsewhere, clock: Clock) -> None:
    elsewhere.attach(PICTURE, bytes_too=False)
    nodes.once()
    [entry] = nodes.clinic.visit(elsewhere.maker.visit)
    nodes.clinic.add([erased.make(elsewhere.maker.stamper, entry, "asked to", "mgr-1")])
    clock.now += MINUTE
    nodes.once()
    assert len(_asked(nodes)) == 1
    assert nodes.chair.kept("lacking blobs")["lacking"] == {}


def test_a_picture_damaged_on_the_chair_nodes_disk_is_fetched_anew_when_all_is_compared_again(
    nodes: Nodes,
    elsewhere: Elsewhere,
    tmp_path: Path,
) -> None:
    name = elsewhere.attach(PICTURE)
    nodes.once()
    file = tmp_path / "chair" / "blobs" / name
    file.write_bytes(b"x" + PICTURE[1:])
    kept: dict[str, Any] = nodes.chair.kept("lacking blobs")
    nodes.chair.keep("lacking blobs", {**kept, "cursor": None})
    nodes.once()
    assert nodes.chair_blobs.get(name) == PICTURE
