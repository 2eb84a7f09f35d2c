"""Devices are known by their tokens, and only by them."""

import json
import stat
from pathlib import Path

import pytest

from sync.access import REVOKED_HANDS_IN_MS, Device, FileDevices, may_hand_in
from sync.errors import StoreError
from tests.sync.conftest import MORNING, Clock


@pytest.fixture
def devices(tmp_path: Path, clock: Clock) -> FileDevices:
    return FileDevices(tmp_path / "devices.json", now=clock)


def test_a_device_is_found_by_its_token_also_after_a_restart(devices: FileDevices, tmp_path: Path) -> None:
    tablet, token = devices.add("tablet", "Chair 1", "K")
    node, other = devices.add("node", "Bag", "M")
    assert devices.by_token(token) == tablet
    again = FileDevices(tmp_path / "devices.json")
    assert again.by_token(other) == node
    assert again.list() == [tablet, node]
    assert (tablet.kind, tablet.letter, tablet.name, tablet.revoked) == ("tablet", "K", "Chair 1", 0)


@pytest.mark.parametrize("wrong", ["", "x", "é", "\udcff"])
def test_no_other_token_finds_a_device(devices: FileDevices, wrong: str) -> None:
    _, token = devices.add("tablet", "Chair 1", "K")
    assert devices.by_token(wrong) is None
    assert devices.by_token(token[:-1]) is None
    assert devices.by_token(token + "a") is None


def test_tokens_are_long_differ_and_are_not_in_the_file(devices: FileDevices, tmp_path: Path) -> None:
    tokens = [devices.add("tablet", f"Chair {number}", "K")[1] for number in range(5)]
    text = (tmp_path / "devices.json").read_text()
    assert len(set(tokens)) == 5
    assert all(len(token) >= 43 and token not in text for token in tokens)
    assert stat.S_IMODE((tmp_path / "devices.json").stat().st_mode) == 0o600


def test_a_device_paired_elsewhere_is_known_by_the_token_it_got_there(devices: FileDevices) -> None:
    tablet = Device("0b5f6c1e-7a52-4a51-9d3e-2f3f0a4b9c11", "tablet", "K", "Chair 1")
    devices.adopt(tablet, "a token of theirs")
    assert devices.by_token("a token of theirs") == tablet


def test_a_device_is_called_by_another_name(devices: FileDevices) -> None:
    tablet, token = devices.add("tablet", "Chair 1", "K")
    assert devices.rename(tablet.id, "Chair 2")
    assert devices.by_token(token) == tablet._replace(name="Chair 2")
    assert not devices.rename("nobody", "Chair 3")


def test_what_another_process_changed_is_noticed(devices: FileDevices, tmp_path: Path) -> None:
    tablet, token = devices.add("tablet", "Chair 1", "K")
    elsewhere = FileDevices(tmp_path / "devices.json")
    assert elsewhere.revoke(tablet.id)
    found = devices.by_token(token)
    assert found is not None
    assert found.revoked


def test_a_revoked_device_may_hand_in_for_30_days_and_a_blocked_one_not_at_all(
    devices: FileDevices, clock: Clock
) -> None:
    tablet, token = devices.add("tablet", "Chair 1", "K")
    assert devices.revoke(tablet.id)
    clock.now += 5
    assert devices.revoke(tablet.id)
    revoked = devices.by_token(token)
    assert revoked is not None
    assert revoked.revoked == MORNING
    assert may_hand_in(revoked, MORNING + REVOKED_HANDS_IN_MS - 1)
    assert not may_hand_in(revoked, MORNING + REVOKED_HANDS_IN_MS)
    devices.revoke(tablet.id, block=True)
    blocked = devices.by_token(token)
    assert blocked is not None
    assert not may_hand_in(blocked, MORNING)
    assert not devices.revoke("nobody")


@pytest.mark.parametrize("text", ["", "{", "[]", "{}", json.dumps({"devices": [{"id": "a"}]})])
def test_a_damaged_list_of_devices_stops_the_node_and_is_not_written_over(tmp_path: Path, text: str) -> None:
    path = tmp_path / "devices.json"
    path.write_text(text)
    with pytest.raises(StoreError, match="cannot be read as a list of devices"):
        FileDevices(path)
    assert path.read_text() == text
