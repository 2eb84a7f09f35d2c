"""The hop from a chair node to the clinic: everything arrives, once, both ways, in bodies of a size that may be."""

import gzip
import json
from pathlib import Path

import pytest

from sync import seal
from sync.border import BODY_MAX
from sync.tiny_store import TinyStore
from tests.sync.conftest import Clock, Maker
from tests.sync.two_nodes import Clinic, fails, once


def test_everything_arrives_once_and_is_sentonce(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    entries = maker.readings(1_200)
    chair.add(entries)
    node = clinic.node(chair)
    assert node.status()["pending"] == 1_200
    once(node, node)
    assert clinic.feed == entries
    assert clinic.wire.sent == [entry["id"] for entry in entries]
    assert [len(body["entries"]) for body in clinic.wire.bodies] == [500, 500, 200]
    assert [body["waiting"] for body in clinic.wire.bodies] == [700, 200, 0]
    status = node.status()
    assert (status["online"], status["pending"], status["refused"]) == (True, 0, 0)
    assert (status["last_error"], status["alarm"]) == (None, None)
    assert status["last_sent"].endswith("Z")


@pytest.mark.parametrize("answers", [0, 1, 2, 3])
def test_a_clinic_that_goes_away_in_the_middle_gets_the_rest_later_and_each_entry_once(
    clinic: Clinic, chair: TinyStore, maker: Maker, answers: int
) -> None:
    entries = maker.readings(1_700)
    chair.add(entries)
    node = clinic.node(chair)
    clinic.wire.cut_after = answers
    assert str(fails(node)) == "The clinic server cannot be reached."
    status = node.status()
    assert (status["online"], status["pending"]) == (False, 1_700 - 500 * answers)
    assert status["last_error"] == "The clinic server cannot be reached."
    clinic.wire.mend()
    once(node)
    assert clinic.feed == entries
    assert clinic.wire.sent == [entry["id"] for entry in entries[500 * answers :]]


def test_a_clinic_that_stores_and_dies_before_it_answers_gets_nothing_twice(
    clinic: Clinic, chair: TinyStore, maker: Maker
) -> None:
    entries = maker.readings(3)
    chair.add(entries)
    node = clinic.node(chair)
    clinic.wire.lose_answers = True
    fails(node)
    assert clinic.feed == entries
    assert node.status()["pending"] == 3
    clinic.wire.mend()
    once(node)
    assert clinic.feed == entries
    assert node.status()["pending"] == 0


def test_a_node_that_is_restarted_goes_on_after_what_was_acknowledged(
    clinic: Clinic, tmp_path: Path, maker: Maker
) -> None:
    first = TinyStore(tmp_path / "chair")
    entries = maker.readings(700)
    first.add(entries)
    clinic.wire.cut_after = 1
    fails(clinic.node(first))
    first.close()
    clinic.wire.mend()
    second = TinyStore(tmp_path / "chair")
    once(clinic.node(second))
    assert clinic.feed == entries
    assert clinic.wire.sent == [entry["id"] for entry in entries[500:]]
    second.close()


def test_two_chairs_converge_through_the_clinic(clinic: Clinic, chair: TinyStore, tmp_path: Path, clock: Clock) -> None:
    other = TinyStore(tmp_path / "other", now=clock)
    one, two = Maker("tablet-1", clock), Maker("tablet-2", clock)
    first, second = clinic.node(chair), clinic.node(other)
    chair.add(one.readings(3))
    other.add(two.readings(4, visit=one.visit))
    other.add(two.readings(2))
    once(first, second, first)
    chair.add(one.readings(2, visit=two.visit))
    once(first, second)
    for visit, count in ((one.visit, 7), (two.visit, 4)):
        assert len(chair.visit(visit)) == count
        assert chair.visit(visit) == other.visit(visit) == clinic.store.visit(visit)
        assert seal.digest(chair.visit(visit)) == seal.digest(clinic.store.visit(visit))
    assert first.status()["pending"] == second.status()["pending"] == 0
    other.close()


def test_what_was_fetched_from_the_clinic_is_not_sent_back_to_it(
    clinic: Clinic, chair: TinyStore, maker: Maker
) -> None:
    clinic.store.add(maker.readings(4))
    own = maker.reading()
    node = clinic.node(chair)
    once(node)
    chair.add([own])
    once(node)
    assert chair.visit(maker.visit) == clinic.store.visit(maker.visit)
    assert clinic.wire.sent == [own["id"]]


def test_a_visit_that_agrees_is_not_fetched_again(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    chair.add(maker.readings(4))
    node = clinic.node(chair)
    once(node, node, node)
    assert [path for method, path, _ in clinic.wire.asked if method == "GET"] == ["/sync/visits"] * 3


def test_a_finished_visit_is_fetched_only_by_a_node_that_holds_part_of_it(
    clinic: Clinic, chair: TinyStore, maker: Maker
) -> None:
    finished, held = maker.stamper.new_id(), maker.stamper.new_id()
    clinic.states = {finished: "finished", held: "finished"}
    own = maker.reading(visit=held)
    chair.add([own])
    clinic.store.add([*maker.readings(2, visit=finished), *maker.readings(2, visit=held)])
    once(clinic.node(chair))
    assert chair.visit(finished) == []
    assert chair.visit(held) == clinic.store.visit(held)


def test_a_large_visit_is_fetched_page_by_page(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    clinic.store.add(maker.readings(1_100))
    once(clinic.node(chair))
    assert chair.visit(maker.visit) == clinic.store.visit(maker.visit)
    assert [path for _, path, _ in clinic.wire.asked].count("/sync/entries") == 3


def test_no_body_is_larger_than_a_call_may_be(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    entries = [maker.reading(value="x" * 15_000) for _ in range(300)]
    chair.add(entries)
    once(clinic.node(chair))
    assert clinic.feed == entries
    assert len(clinic.wire.bodies) == 3
    assert max(len(body) for _, _, body in clinic.wire.asked) <= BODY_MAX


def test_bodies_may_be_packed(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    entries = maker.readings(50)
    chair.add(entries)
    once(clinic.node(chair, compress=True))
    assert clinic.feed == entries
    packed = clinic.wire.asked[0][2]
    assert len(packed) < len(gzip.decompress(packed)) / 5


def test_unpacked_bodies_are_at_most_1_1_times_the_entries(clinic: Clinic, chair: TinyStore, maker: Maker) -> None:
    entries = maker.readings(500)
    chair.add(entries)
    once(clinic.node(chair))
    raw = sum(len(json.dumps(entry, separators=(",", ":"))) for entry in entries)
    assert len(clinic.wire.asked[0][2]) <= 1.1 * raw
