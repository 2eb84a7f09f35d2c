"""Attachments go from a chair node to its clinic server: after the entries, whole, and each of them some day."""

import hashlib
from typing import Any

import pytest

from sync.blobs import BLOB_MAX, FolderBlobs
from sync.errors import HopError
from sync.hop import OFFER_AGAIN_MS
from tests.sync.conftest import Maker
from tests.sync.two_nodes import Nodes

PICTURE = bytes(range(256)) * 100


def test_an_attachment_arrives_whole_and_after_the_entry_that_names_it(nodes: Nodes, maker: Maker) -> None:
    name = nodes.put(PICTURE)
    entry = nodes.attach(maker, PICTURE)
    nodes.once()
    assert nodes.blobs.get(name) == PICTURE
    assert nodes.clinic.get(entry["id"]) == entry
    methods = [method for method, _, _ in nodes.wire.asked]
    assert methods.index("POST") < methods.index("PUT")
    assert methods[-1] == "PUT"


def test_an_attachment_is_sent_once_also_by_a_node_that_was_restarted(nodes: Nodes, maker: Maker) -> None:
    nodes.put(PICTURE)
    nodes.attach(maker, PICTURE)
    nodes.once()
    nodes.once()
    assert len(nodes.puts) == 1


def test_bytes_that_come_after_their_entry_are_waited_for(nodes: Nodes, maker: Maker) -> None:
    nodes.attach(maker, PICTURE)
    nodes.once()
    assert nodes.puts == []
    name = nodes.put(PICTURE)
    nodes.once()
    assert nodes.blobs.get(name) == PICTURE


def test_an_outage_in_the_middle_sends_each_attachment_in_the_end(nodes: Nodes, maker: Maker) -> None:
    names = []
    for number in range(4):
        data = PICTURE + bytes([number])
        nodes.attach(maker, data)
        names.append(nodes.put(data))
    nodes.wire.cut_after = 4
    with pytest.raises(HopError):
        nodes.once()
    nodes.wire.mend()
    nodes.once()
    for name in names:
        assert hashlib.sha256(nodes.blobs.get(name)).hexdigest() == name


def test_an_attachment_of_2_mb_passes_and_bytes_no_entry_names_stay_where_they_are(nodes: Nodes, maker: Maker) -> None:
    largest = bytes(BLOB_MAX)
    name = nodes.put(largest)
    stray = nodes.put(b"nobody's")
    nodes.attach(maker, largest)
    nodes.once()
    assert nodes.blobs.get(name) == largest
    assert nodes.puts == [name]
    assert stray not in nodes.puts


def test_one_that_is_refused_holds_up_no_other_and_is_offered_again_the_next_day(
    nodes: Nodes, maker: Maker, monkeypatch: pytest.MonkeyPatch
) -> None:
    bad, good = nodes.put(b"bad"), nodes.put(b"good")
    for data in (b"bad", b"good"):
        nodes.attach(maker, data)
    put = FolderBlobs.put

    def refusing(blobs: FolderBlobs, name: str, data: bytes) -> None:
        put(blobs, name, b"spoilt on the way" if name == bad else data)

    monkeypatch.setattr(FolderBlobs, "put", refusing)
    nodes.once()
    assert nodes.blobs.get(good) == b"good"
    nodes.once()
    assert nodes.puts.count(bad) == 1
    monkeypatch.setattr(FolderBlobs, "put", put)
    nodes.clock.now += OFFER_AGAIN_MS
    nodes.once()
    assert nodes.blobs.get(bad) == b"bad"


def test_one_damaged_on_the_nodes_disk_is_not_sent_and_holds_up_no_other(nodes: Nodes, maker: Maker) -> None:
    damaged, good = nodes.put(b"damaged"), nodes.put(b"good")
    (nodes.folder / "chair" / "blobs" / damaged).write_bytes(b"xamaged")
    for data in (b"damaged", b"good"):
        nodes.attach(maker, data)
    nodes.once()
    assert nodes.puts == [good]
    nodes.put(b"damaged")
    nodes.once()
    assert nodes.blobs.get(damaged) == b"damaged"


def test_a_clinic_with_another_store_gets_every_attachment_again(nodes: Nodes, maker: Maker) -> None:
    name = nodes.put(PICTURE)
    nodes.attach(maker, PICTURE)
    nodes.once()
    nodes.once()
    nodes.clinic.close()
    nodes.open_clinic("second")
    nodes.once()
    assert nodes.blobs.get(name) == PICTURE


@pytest.mark.parametrize(
    "value", [None, 5, "text", {}, {"sha256": 5}, {"sha256": "../devices.json"}, {"sha256": "A" * 64}]
)
def test_an_attachment_entry_that_names_no_bytes_moves_nothing(nodes: Nodes, maker: Maker, value: Any) -> None:
    entry = maker.stamper.entry(maker.visit, "attachment", author="staff-1", value=value)
    nodes.chair.add([entry])
    nodes.once()
    assert nodes.puts == []
    assert nodes.clinic.get(entry["id"]) == entry
