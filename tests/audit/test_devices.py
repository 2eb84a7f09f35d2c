"""The devices page: when each was heard, what waits there, and what to do with each refused entry."""

import pytest

from chairapp.audit.devices_page import devices_table, what_to_do
from chairapp.audit.sources import Heard
from chairapp.people.demo import demo_clinic
from sync.access import Device
from sync.entry import Refusal
from sync.store import Record
from tests.audit.conftest import DAY_MS, DIGEST, MORNING

CLINIC = demo_clinic(DIGEST, "rims.example")
NODE = Heard(Device("n", "node", "", "Bag"), MORNING, 1200)
DIRECT = Heard(Device("a", "tablet", "7", "Chair 1"), MORNING - 3 * DAY_MS, 4, "2026-11-22T09:00:00.000Z")
BEHIND = Heard(Device("b", "tablet", "8", "Chair 2"), 0, None, "2026-11-25T09:00:00.000Z")
NEVER = Heard(Device("c", "tablet", "9", "Chair 3", blocked=True), 0, None)


def test_each_device_says_when_it_was_heard_and_how_many_entries_wait_there():
    shown = str(devices_table([BEHIND, NEVER, DIRECT, NODE], CLINIC, MORNING))
    node, direct, behind, never = shown.split("<tr>")[2:]
    assert "Chair node" in node
    assert "1,200" in node
    assert "quiet for 3 days" in direct
    assert "22 Nov 2026" in direct
    assert "through its node" in behind
    assert "blocked" in never
    assert "not yet" in never


@pytest.mark.parametrize(
    ("why", "do", "says"),
    [
        ("the clock is more than 366 days ahead", "", "Set the date of that device"),
        ("this device was removed from the clinic's devices", "", "pair it again"),
        ("a tablet hands in entries of its own only", "", "Pair that tablet again"),
        ("another entry has this id", "", "two devices made one id"),
        ("is not a number", "Give millimetres.", "Give millimetres."),
        ("something unheard of", "", "Enter it again; then settle this one."),
    ],
)
def test_every_refusal_says_what_to_do(why, do, says):
    assert says in what_to_do(Record("k", {}, Refusal("value", why, do), "a", MORNING, False))
