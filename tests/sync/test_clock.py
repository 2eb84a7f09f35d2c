"""Ids and stamps keep their order whatever the wall clock does."""

import uuid

from hypothesis import given
from hypothesis import strategies as st

from sync.clock import COUNTER_MAX, FAR_AHEAD_MS, HybridClock, Ids, far_ahead
from tests.sync.conftest import MORNING, Clock

STEPS = st.lists(st.integers(-10_000, 10_000), max_size=200)


@given(STEPS)
def test_ids_are_strictly_ordered_however_the_clock_steps(steps: list[int]) -> None:
    clock = Clock()
    ids = Ids(clock)
    made = []
    for step in steps:
        clock.now += step
        made.append(ids.next())
    assert made == sorted(set(made))


@given(STEPS, st.lists(st.tuples(st.integers(0, MORNING * 2), st.integers(0, COUNTER_MAX)), max_size=200))
def test_stamps_are_strictly_ordered_however_the_clock_steps_and_whatever_is_merged(
    steps: list[int], heard: list[tuple[int, int]]
) -> None:
    clock = Clock()
    hybrid = HybridClock(clock)
    last = (0, 0)
    for step, stamp in zip(steps, heard, strict=False):
        clock.now += step
        merged = hybrid.merge(stamp)
        given_out = hybrid.tick()
        assert given_out > last
        assert not merged or given_out > stamp
        last = given_out


def test_an_id_is_a_uuid_of_version_7_that_holds_its_millisecond() -> None:
    """Source: RFC 9562, section 5.7."""
    made = uuid.UUID(Ids(Clock()).next())
    assert made.version == 7
    assert made.variant == uuid.RFC_4122
    assert made.int >> 80 == MORNING


def test_an_id_is_laid_out_as_in_the_rfcs_example() -> None:
    """Source: RFC 9562, appendix A.6 (time 1645557742000, rand_a 0xCC3, rand_b 0x18C4DC0C0C07398F); from memory."""
    before = "017f22e2-79b0-7cc2-8000-000000000000"
    ids = Ids(lambda: 1_645_557_742_000, lambda _bits: 0x18C4DC0C0C07398F, last=before)
    assert ids.next() == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


def test_more_ids_in_one_millisecond_than_the_counter_counts_borrow_from_the_next() -> None:
    ids = Ids(Clock(), last=Ids(Clock()).next())
    made = [ids.next() for _ in range(5_000)]
    assert made == sorted(set(made))
    assert uuid.UUID(made[-1]).int >> 80 in (MORNING + 1, MORNING + 2)


def test_a_counter_that_is_full_borrows_from_the_next_millisecond() -> None:
    assert HybridClock(Clock(), (MORNING, COUNTER_MAX)).tick() == (MORNING + 1, 0)


def test_a_clock_more_than_366_days_ahead_is_not_merged() -> None:
    hybrid = HybridClock(Clock())
    assert hybrid.merge((MORNING + FAR_AHEAD_MS, 3))
    assert not hybrid.merge((MORNING + FAR_AHEAD_MS + 1, 0))
    assert hybrid.tick() == (MORNING + FAR_AHEAD_MS, 4)


def test_366_days_ahead_is_allowed_and_a_millisecond_more_is_not() -> None:
    assert not far_ahead(MORNING + FAR_AHEAD_MS, MORNING)
    assert far_ahead(MORNING + FAR_AHEAD_MS + 1, MORNING)
