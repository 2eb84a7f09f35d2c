"""What the clinic refuses, and answers that are none, block and move nothing."""

import httpx
import pytest

from sync.forward import OFFER_AGAIN_MS, UPSTREAM
from sync.tiny_store import TinyStore
from tests.sync.conftest import Clock, Maker
from tests.sync.two_nodes import Clinic, fails, once


def test_a_refused_entry_blocks_nothing_and_is_offered_daily_until_it_is_stored(
    clinic: Clinic, chair: TinyStore, maker: Maker, clock: Clock
) -> None:
    bad, good = maker.readings(2)
    clinic.refuse = {bad["id"]}
    chair.add([bad, good])
    node = clinic.node(chair)
    once(node)
    assert clinic.feed == [good]
    assert (node.status()["refused"], node.status()["pending"]) == (1, 0)
    clinic.wire.mend()
    clock.now += OFFER_AGAIN_MS - 1
    once(node)
    assert clinic.wire.sent == []
    clock.now += 1
    once(clinic.node(chair))
    assert clinic.wire.sent == [bad["id"]]
    clinic.refuse = set()
    clock.now += OFFER_AGAIN_MS
    last = clinic.node(chair)
    assert last.status()["refused"] == 1
    once(last)
    assert clinic.feed == [good, bad]
    assert last.status()["refused"] == 0
    assert chair.visit(maker.visit) == [bad, good]


def test_a_refused_entry_the_manager_has_settled_is_not_offered_again(
    clinic: Clinic, chair: TinyStore, maker: Maker, clock: Clock
) -> None:
    bad = maker.reading()
    clinic.refuse = {bad["id"]}
    chair.add([bad])
    node = clinic.node(chair)
    once(node)
    clinic.store.settle(clinic.store.refused()[0].key)
    for _ in range(2):
        clinic.wire.mend()
        clock.now += OFFER_AGAIN_MS
        once(node)
    assert clinic.wire.sent == []
    assert node.status()["refused"] == 0


@pytest.mark.parametrize(
    "answer",
    [
        httpx.Response(200, text="<html>Welcome to the hotel</html>"),
        httpx.Response(200, json={}),
        httpx.Response(200, json={"stored": [], "refused": [], "settled": [], "head": None, "epoch": "a"}),
        httpx.Response(302, headers={"Location": "https://elsewhere.invalid/"}),
        httpx.Response(401, json={"error": {"field": "", "why": "Nobody here knows this device token.", "do": ""}}),
        httpx.Response(500, text="oops"),
        httpx.Response(503, json=["oops"]),
    ],
    ids=lambda answer: f"{answer.status_code} {answer.text[:20]}",
)
def test_an_answer_that_is_not_a_clinics_moves_nothing(
    clinic: Clinic, chair: TinyStore, maker: Maker, answer: httpx.Response
) -> None:
    entries = maker.readings(2)
    chair.add(entries)
    node = clinic.node(chair)
    clinic.wire.answer = answer
    failed = str(fails(node))
    assert answer.status_code == 200 or str(answer.status_code) in failed
    assert answer.status_code != 401 or "Nobody here knows" in failed
    assert node.status()["pending"] == 2
    clinic.wire.mend()
    once(node)
    assert clinic.feed == entries


def test_an_answer_that_is_silent_about_an_entry_moves_nothing(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    entries = maker.readings(2)
    chair.add(entries)
    head = {"epoch": "a", "position": 1, "hash": ""}
    told = {"stored": [entries[0]["id"]], "refused": [], "settled": [], "head": head, "epoch": "a"}
    clinic.wire.answer = httpx.Response(200, json=told)
    node = clinic.node(chair)
    assert "did not say what became of 1" in str(fails(node))
    assert node.status()["pending"] == 2


def test_a_fetched_entry_that_is_none_goes_to_the_drawer(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    good = maker.reading()
    far = {**maker.reading(), "clock": [2**48 - 1, 0]}
    clinic.store.add([good, far, {**maker.reading(), "kind": "Wrong Kind"}])
    node = clinic.node(chair)
    once(node)
    assert chair.visit(maker.visit) == [good]
    assert [record.refusal.field for record in chair.refused()] == ["clock", "kind"]
    assert {record.device for record in chair.refused()} == {UPSTREAM}
