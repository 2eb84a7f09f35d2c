"""PINs: what is taken for one, how guessing is slowed down, and that nothing of it is kept readable."""

import contextlib

import pytest

from chairapp.people.demo import demo_clinic
from chairapp.people.errors import NobodyHere, PinLocked, WeakPin, WrongPin
from chairapp.people.pins import FREE_TRIES, Pins, checked_pin
from chairapp.people.safe import FileSafe, SqlSafe
from sync.sql_store import SqlStore
from tests.sync.postgres import running

CLINIC = demo_clinic("0" * 64, "127.0.0.1:8080")
PIN, OTHER = "480213", "731904"


class Clock:
    def __init__(self):
        self.ms = 1_800_000_000_000

    def __call__(self):
        return self.ms


@pytest.fixture(scope="module")
def postgres():
    with running() as url:
        yield url


@pytest.fixture(params=["file", "sqlite", "postgresql"])
def safe(request, tmp_path):
    if request.param == "file":
        yield FileSafe(tmp_path / "people.json")
        return
    named = request.getfixturevalue("postgres") if request.param == "postgresql" else None
    with contextlib.closing(SqlStore(named or f"sqlite:///{tmp_path}/clinic.sqlite")) as store:
        safe = SqlSafe(store)
        for name in ("pins", "pin tries"):
            safe.change(name, lambda _: None)
        yield safe


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def pins(safe, clock):
    pins = Pins(safe, lambda: CLINIC, clock)
    pins.set("clin-1", PIN)
    return pins


def guess(pins, times, person="clin-1"):
    for _ in range(times):
        with pytest.raises(WrongPin):
            pins.check(person, OTHER)


def test_the_right_pin_says_who_it_is(pins):
    assert pins.check("clin-1", PIN).name == CLINIC.name_of("clin-1")


def test_a_stranger_and_a_person_without_a_pin_come_in_with_none(pins):
    with pytest.raises(NobodyHere):
        pins.check("nobody", PIN)
    with pytest.raises(WrongPin):
        pins.check("clin-2", PIN)


def test_after_the_free_tries_each_wrong_one_doubles_the_wait_to_an_hour_at_most(pins, clock):
    guess(pins, FREE_TRIES)
    for seconds in (30, 60, 120, 240, 480, 960, 1920, 3600, 3600):
        clock.ms += (seconds - 1) * 1000
        with pytest.raises(PinLocked):
            pins.check("clin-1", PIN)
        clock.ms += 1000
        guess(pins, 1)


def test_the_right_pin_after_the_wait_forgives_what_was_before(pins, clock):
    guess(pins, FREE_TRIES)
    clock.ms += 30_000
    pins.check("clin-1", PIN)
    guess(pins, FREE_TRIES - 1)
    pins.check("clin-1", PIN)


def test_one_persons_wrong_tries_lock_nobody_else(pins):
    pins.set("clin-2", PIN)
    guess(pins, FREE_TRIES)
    assert pins.check("clin-2", PIN).id == "clin-2"


def test_a_clock_set_back_shortens_no_wait(pins, clock):
    guess(pins, FREE_TRIES)
    clock.ms -= 7 * 24 * 3600 * 1000
    with pytest.raises(PinLocked, match="wait 30 seconds"):
        pins.check("clin-1", PIN)


def test_the_wait_outlives_a_new_start(pins, safe, clock):
    guess(pins, FREE_TRIES)
    with pytest.raises(PinLocked):
        Pins(safe, lambda: CLINIC, clock).check("clin-1", PIN)


def test_a_new_pin_ends_the_old_one_and_the_wait(pins):
    guess(pins, FREE_TRIES)
    pins.set("clin-1", OTHER)
    assert pins.check("clin-1", OTHER)
    with pytest.raises(WrongPin):
        pins.check("clin-1", PIN)


def test_what_a_chair_node_is_sent_lets_the_same_people_in_there(pins, tmp_path, clock):
    there = Pins(FileSafe(tmp_path / "chair.json"), lambda: CLINIC, clock)
    there.take(pins.verifiers())
    assert there.check("clin-1", PIN).id == "clin-1"
    guess(there, FREE_TRIES)
    pins.set("clin-1", OTHER)
    there.take(pins.verifiers())
    assert there.check("clin-1", OTHER).id == "clin-1"


def test_no_pin_is_kept_readable_and_the_file_is_its_owners_only(tmp_path):
    pins = Pins(FileSafe(tmp_path / "people.json"), lambda: CLINIC)
    pins.set("clin-1", PIN)
    text = (tmp_path / "people.json").read_text()
    assert PIN not in text
    assert "$argon2id$" in text
    assert (tmp_path / "people.json").stat().st_mode & 0o077 == 0


@pytest.mark.parametrize(
    "pin", ["12345", "", "111111", "123456", "987654", "12345a", "１２３４５７", "48 213", "4" * 33]
)
def test_a_pin_that_is_short_or_guessed_first_is_refused_in_one_line(pins, pin):
    with pytest.raises(WeakPin) as refused:
        checked_pin(pin)
    assert refused.value.field == "pin"
    assert "\n" not in str(refused.value)
