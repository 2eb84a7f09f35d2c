"""The hop in the background: when it tries, how long it waits, and what the lamp says of it."""

import asyncio
from collections.abc import Awaitable, Callable

import httpx
import pytest

from sync.errors import StoreBroken
from sync.forward import Forward
from sync.tiny_store import TinyStore
from tests.sync.conftest import Maker
from tests.sync.two_nodes import Clinic, once


class Waits:
    """Stands in for waiting: notes how long was asked for and goes on at once, until it has seen enough."""

    def __init__(self, enough: int) -> None:
        self.seconds: list[float] = []
        self.done = asyncio.Event()
        self._enough = enough

    async def __call__(self, _event: asyncio.Event, seconds: float) -> None:
        self.seconds.append(seconds)
        if len(self.seconds) >= self._enough:
            self.done.set()
            await asyncio.Event().wait()
        await asyncio.sleep(0)


def _running(node: Forward, until: Callable[[], Awaitable[object]]) -> None:
    async def run() -> None:
        node.start()
        async with asyncio.timeout(20):
            await until()
        await node.stop()

    asyncio.run(run())


@pytest.mark.parametrize("chance", [0.0, 0.5, 1.0])
def test_a_clinic_that_is_down_is_tried_every_1_to_30_seconds_less_and_less_often(
    clinic: Clinic, chair: TinyStore, chance: float
) -> None:
    clinic.wire.down = True
    waits = Waits(20)
    _running(clinic.node(chair, wait=waits, chance=lambda: chance), waits.done.wait)
    pairs = zip(waits.seconds[::2], waits.seconds[1::2], strict=True)
    pauses = [shortest + rest for shortest, rest in pairs]
    assert all(1 <= pause <= 30 for pause in pauses)
    assert pauses == sorted(pauses)
    assert pauses[-1] == 30 * (0.5 + chance / 2)
    assert len(set(pauses)) >= 4


def test_after_a_success_the_pauses_begin_anew(clinic: Clinic, chair: TinyStore) -> None:
    clinic.wire.down = True
    waits = Waits(14)

    async def mend_and_break() -> None:
        while len(waits.seconds) < 9:
            await asyncio.sleep(0)
        clinic.wire.down = False
        await waits.done.wait()

    node = clinic.node(chair, wait=waits, chance=lambda: 1.0, poll=5.0)
    _running(node, mend_and_break)
    assert waits.seconds[-1] == 5.0 * 1.25
    assert node.status()["online"]


def test_new_entries_are_sent_at_once_not_at_the_next_look(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    entries = maker.readings(3)

    async def add_and_see() -> None:
        for entry in entries:
            arrived = asyncio.Event()
            loop = asyncio.get_running_loop()
            stop = clinic.store.listen(lambda loop=loop, arrived=arrived: loop.call_soon_threadsafe(arrived.set))
            await asyncio.to_thread(chair.add, [entry])
            await arrived.wait()
            stop()

    _running(clinic.node(chair, poll=3_600), add_and_see)
    assert clinic.feed == entries


def test_a_hop_stopped_at_any_moment_goes_on_where_it_was(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    entries = maker.readings(1_200)
    chair.add(entries)
    for asked in (1, 1, 2):
        clinic.wire.mend()

        async def until_asked(asked: int = asked) -> None:
            while len(clinic.wire.asked) < asked:
                await asyncio.sleep(0)

        _running(clinic.node(chair), until_asked)
    once(clinic.node(chair))
    assert clinic.feed == entries


def test_a_hop_that_broke_down_says_so_on_the_lamp(
    clinic: Clinic, chair: TinyStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    node = clinic.node(chair)
    clinic.wire.answer = httpx.Response(200, json={})

    async def broken(*_args: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(clinic.wire, "handle_async_request", broken)

    async def until_it_ended() -> None:
        while not node.status()["last_error"]:
            await asyncio.sleep(0)

    _running(node, until_it_ended)
    assert node.status()["last_error"] == "The hop stopped (ZeroDivisionError); start the node again."
    assert not node.status()["online"]


def test_a_failure_of_the_nodes_own_store_is_told_and_tried_again(
    clinic: Clinic, chair: TinyStore, maker: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    clinic.store.add(maker.readings(1))
    node = clinic.node(chair)

    def broken(*_args: object, **_named: object) -> None:
        raise StoreBroken("entries.jsonl: the disk did not confirm a write (Input/output error).")

    with monkeypatch.context() as patch:
        patch.setattr(chair, "add", broken)
        with pytest.raises(StoreBroken):
            once(node)
    assert "did not confirm" in node.status()["last_error"]
    once(node)
    assert chair.visit(maker.visit) == clinic.store.visit(maker.visit)
    assert node.status()["last_error"] is None
