"""When a device was last heard, and what waited there: told to a person, so a minute's grain is enough."""

from sync.access import FileDevices
from sync.heard import Hearing, heard_of
from sync.store import Store
from tests.sync.conftest import Clock

MINUTE = 60_000


def test_whoever_shows_a_token_is_heard_once_a_minute_at_most(store: Store, tmp_path: object, clock: Clock) -> None:
    devices = FileDevices(f"{tmp_path}/devices.json")
    device, token = devices.add("tablet", "Chair 1", "7")
    hearing = Hearing(devices, store, now=clock)
    assert heard_of(store, device.id) == (0, None)
    first = clock.now
    assert hearing.by_token(token) == device
    clock.now += MINUTE - 1
    hearing.by_token(token)
    assert heard_of(store, device.id) == (first, None)
    clock.now += 1
    hearing.by_token(token)
    assert heard_of(store, device.id) == (first + MINUTE, None)


def test_a_stranger_is_not_heard(store: Store, tmp_path: object, clock: Clock) -> None:
    hearing = Hearing(FileDevices(f"{tmp_path}/devices.json"), store, now=clock)
    assert hearing.by_token("x" * 43) is None
    assert store.all_kept() == {}
