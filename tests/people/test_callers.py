"""Guessing is slowed down by who calls, whatever is guessed."""

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from chairapp.people.callers import FREE_TRIES, Callers
from chairapp.people.pairing import PairingRefused, pair_route

THIEF, NEIGHBOUR = "192.0.2.7", "192.0.2.8"


class Clock:
    def __init__(self):
        self.s = 1000.0

    def __call__(self):
        return self.s


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def callers(clock):
    return Callers(clock)


def guess(callers, times=FREE_TRIES):
    for _ in range(times):
        callers.wrong(THIEF)


def test_slips_are_free_and_then_each_further_try_waits_twice_as_long(callers, clock):
    guess(callers, FREE_TRIES - 1)
    assert callers.wait(THIEF) == 0
    waits = []
    for _ in range(4):
        callers.wrong(THIEF)
        waits.append(callers.wait(THIEF))
    assert waits == [30, 60, 120, 240]


def test_a_moment_between_tries_makes_none_of_them_free(callers, clock):
    for _ in range(FREE_TRIES):
        clock.s += 0.5
        callers.wrong(THIEF)
    assert callers.wait(THIEF) == 30


def test_the_longest_wait_is_an_hour(callers):
    guess(callers, 200)
    assert callers.wait(THIEF) == 3600


def test_a_neighbour_does_not_wait(callers):
    guess(callers)
    assert callers.wait(NEIGHBOUR) == 0


def test_wrong_tries_fade_so_that_a_days_slips_lock_nobody_out(callers, clock):
    for _ in range(100):
        callers.wrong(THIEF)
        clock.s += 180
    assert callers.wait(THIEF) == 0


def test_many_callers_take_no_more_memory_than_some(callers):
    for number in range(10_000):
        callers.wrong(str(number))
    assert len(callers._of) == 4096


@pytest.fixture
def pairing(callers):
    """A clinic of which only the code GOOD is known."""
    looked_at = []

    async def pair(asked, _):
        looked_at.append(asked.code)
        if asked.code != "GOOD":
            raise PairingRefused(403, "code", "wrong", "ask for one")
        raise PairingRefused(503, "", "let in", "")

    app = FastAPI()
    app.include_router(pair_route(pair, lambda host: host == "127.0.0.1", callers))
    web = TestClient(app, "http://127.0.0.1", client=(THIEF, 4000))
    web.looked_at = looked_at
    return web


def paired(web, code, **headers):
    return web.post("/pair", json={"kind": "tablet", "name": "Tablet", "code": code}, headers=headers)


def test_pairing_codes_are_not_tried_one_after_another(pairing, clock):
    assert {paired(pairing, f"WRONG{n}").status_code for n in range(FREE_TRIES)} == {403}
    refused = paired(pairing, "GOOD")
    assert refused.status_code == 429
    assert "wait 30 seconds" in refused.json()["error"]["why"]
    assert "GOOD" not in pairing.looked_at
    clock.s += 30
    assert paired(pairing, "GOOD").status_code == 503


def test_a_header_makes_no_other_caller(pairing):
    for number in range(FREE_TRIES):
        paired(pairing, "WRONG", **{"True-Client-Ip": f"192.0.2.{number}"})
    assert paired(pairing, "GOOD", **{"True-Client-Ip": "192.0.2.99"}).status_code == 429
