"""An erased value is gone from every store that hears of it, and whoever looks can still check the rest."""

import asyncio
import logging
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from sync import erased, seal
from sync.access import FileDevices
from sync.entry import Entry, canonical, check_envelope
from sync.forward import Forward
from sync.journal_lines import header_line
from sync.routes import routes
from sync.sql_store import SqlStore
from sync.store import Store
from sync.tiny_store import TinyStore
from tests.sync.conftest import Clock, Maker, OpenStore
from tests.sync.test_crash import FailingDisk

SECRET = "Mrs Example, 12 Invented Street"


def _erasure(maker: Maker, entry: Entry) -> Entry:
    return erased.make(maker.stamper, entry, "asked to by the patient", "mgr-1")


def _secret(maker: Maker) -> Entry:
    return maker.reading(value={"text": SECRET, "more": [1, {"v": 1, "value": 2}]})


def test_an_erased_value_is_replaced_by_its_digest_and_the_envelope_stays(open_store: OpenStore, maker: Maker) -> None:
    store = open_store()
    entries = [maker.reading(), _secret(maker), maker.reading()]
    store.add(entries)
    erasure = _erasure(maker, entries[1])
    assert check_envelope(erasure) is None
    assert store.add([erasure]).new == [erasure["id"]]
    digest = erased.digest_of_value(canonical(entries[1]))
    expected = [entries[0], {**entries[1], "value": {"erased": digest}}, entries[2], erasure]
    for held in (store, open_store()):
        assert held.visit(maker.visit) == expected
        assert held.since().entries == expected
        assert held.get(entries[1]["id"]) == expected[1]
        assert held.erasures()[entries[1]["id"]].by == erasure["id"]


def test_the_chain_holds_over_an_erased_value_and_its_head_does_not_change(open_store: OpenStore, maker: Maker) -> None:
    store = open_store()
    entries = [maker.reading(), _secret(maker), maker.reading()]
    store.add(entries)
    before = store.head()
    store.add([_erasure(maker, entries[1])])
    hashes = [link.hash for link in store.links()]
    assert hashes[2] == before.hash
    assert [link.bare for link in store.links()] == [False, True, False, False]
    assert seal.verify_store(store) is None
    assert seal.verify_store(open_store()) is None


def test_the_envelope_of_an_erased_entry_cannot_be_changed_unseen(store: Store, maker: Maker) -> None:
    entries = [maker.reading(), _secret(maker)]
    store.add(entries)
    store.add([_erasure(maker, entries[1])])
    links, head = list(store.links()), store.head()
    for other in (b'"author":"staff-2"', b'"author":"staff-11"'):
        forged = links[1]._replace(data=links[1].data.replace(b'"author":"staff-1"', other))
        flaw = seal.verify(head.epoch, [links[0], forged, links[2]], head.position, head.hash)
        assert flaw is not None
        assert flaw.position == 2
    digest = links[1].data.index(b'"erased":"') + 10
    forged = links[1]._replace(data=links[1].data[:digest] + b"0" * 64 + links[1].data[digest + 64 :])
    assert seal.verify(head.epoch, [links[0], forged, links[2]], head.position, head.hash) is not None


def test_a_value_taken_away_without_an_erasure_is_a_fault(tmp_path: Path, maker: Maker) -> None:
    store = SqlStore(f"sqlite:///{tmp_path}/clinic.sqlite")
    entry = _secret(maker)
    store.add([entry])
    with store.engine.connect().execution_options(writes=True) as connection, connection.begin():
        bare = erased.without_value(canonical(entry))
        connection.exec_driver_sql("UPDATE entry SET data = ?, bare = 1", (bare,))
    flaw = seal.verify_store(store)
    assert flaw == (1, "the value of entry 1 is gone, and no erasure says why")
    store.close()


def test_an_erased_entry_offered_again_is_stored_and_dropped(store: Store, maker: Maker) -> None:
    entry = _secret(maker)
    store.add([entry])
    store.add([_erasure(maker, entry)])
    held = store.visit(maker.visit)
    again = store.add([entry])
    assert (again.stored, again.new, again.refused) == ([entry["id"]], [], [])
    assert store.visit(maker.visit) == held
    other = store.add([{**entry, "value": "another"}])
    assert len(other.refused) == 1


def test_an_erasure_that_comes_first_takes_the_value_when_it_comes(open_store: OpenStore, maker: Maker) -> None:
    store = open_store()
    entry = _secret(maker)
    erasure = _erasure(maker, entry)
    store.add([erasure])
    store = open_store()
    assert store.add([entry]).stored == [entry["id"]]
    assert SECRET not in str(store.visit(maker.visit))
    assert seal.verify_store(open_store()) is None


def test_entry_and_erasure_in_one_batch_leave_no_value(store: Store, maker: Maker) -> None:
    entry = _secret(maker)
    store.add([_erasure(maker, entry), entry])
    assert SECRET not in str(store.since().entries)
    assert seal.verify_store(store) is None


def test_the_form_without_its_value_is_the_same_entry_and_takes_nothing_by_itself(store: Store, maker: Maker) -> None:
    entry = _secret(maker)
    store.add([entry])
    bare = {**entry, "value": {"erased": erased.digest_of_value(canonical(entry))}}
    assert store.add([bare]).stored == [entry["id"]]
    assert store.visit(maker.visit) == [entry]


def test_a_store_that_got_only_the_form_without_its_value_keeps_it_so(store: Store, maker: Maker) -> None:
    entry = _secret(maker)
    bare = {**entry, "value": {"erased": erased.digest_of_value(canonical(entry))}}
    erasure = _erasure(maker, entry)
    store.add([bare])
    store.add([erasure])
    assert store.add([entry]).stored == [entry["id"]]
    assert store.visit(maker.visit) == [bare, erasure]
    assert seal.verify_store(store) is None


@pytest.mark.parametrize("change", [{"of": None}, {"value": {"sha256": "0" * 64}}, {"value": "all of it"}])
def test_an_erasure_that_names_another_value_takes_nothing(store: Store, maker: Maker, change: dict[str, Any]) -> None:
    entry = _secret(maker)
    store.add([entry])
    store.add([{**_erasure(maker, entry), **change}])
    assert entry in store.visit(maker.visit)
    store.add([_erasure(maker, entry)])
    assert entry not in store.visit(maker.visit)


def test_an_erasure_of_another_visit_or_of_an_erasure_takes_nothing(store: Store, maker: Maker) -> None:
    entry = _secret(maker)
    store.add([entry])
    store.add([{**_erasure(maker, entry), "visit": maker.stamper.new_id()}])
    assert store.visit(maker.visit) == [entry]
    erasure = _erasure(maker, entry)
    store.add([erasure])
    store.add([_erasure(maker, erasure)])
    assert erasure in store.visit(maker.visit)


def test_nothing_of_an_erased_value_stays_in_the_files(tmp_path: Path, maker: Maker) -> None:
    entry = _secret(maker)
    stores: list[Store] = [TinyStore(tmp_path / "node"), SqlStore(f"sqlite:///{tmp_path}/clinic.sqlite")]
    for store in stores:
        store.add([maker.reading(), entry, maker.reading()])
        assert _holding(tmp_path)
        store.add([_erasure(maker, entry)])
    assert not _holding(tmp_path)
    for store in stores:
        store.close()
    assert not _holding(tmp_path)


def test_a_node_killed_between_the_erasure_and_the_new_file_finishes_at_its_next_start(
    tmp_path: Path, maker: Maker
) -> None:
    entry = _secret(maker)
    store = TinyStore(tmp_path)
    store.add([entry])
    before = (tmp_path / "entries.jsonl").read_bytes()
    store.add([_erasure(maker, entry)])
    after = (tmp_path / "entries.jsonl").read_bytes()
    store.close()
    (tmp_path / "entries.jsonl").write_bytes(before + after.splitlines(keepends=True)[-1])
    reader = TinyStore(tmp_path, write=False)
    assert SECRET not in str(reader.since().entries)
    assert seal.verify_store(reader) is None
    assert _holding(tmp_path)
    TinyStore(tmp_path).close()
    assert (tmp_path / "entries.jsonl").read_bytes() == after


def test_an_erasure_on_a_full_disk_is_heeded_at_once_and_on_disk_when_there_is_room(
    tmp_path: Path, maker: Maker, caplog: pytest.LogCaptureFixture
) -> None:
    disk = FailingDisk()
    store = TinyStore(tmp_path, disk=disk)
    entry = _secret(maker)
    store.add([entry])
    disk.room = 900
    with caplog.at_level(logging.WARNING):
        assert len(store.add([_erasure(maker, entry)]).stored) == 1
    assert "1 erased values are still in entries.jsonl" in caplog.text
    assert SECRET not in str(store.since().entries)
    assert seal.verify_store(store) is None
    disk.room = None
    store.add([_erasure(maker, maker.reading())])
    store.close()
    TinyStore(tmp_path).close()
    assert not _holding(tmp_path)


def test_a_damaged_line_is_taken_over_as_it_is_when_the_file_is_written_anew(tmp_path: Path, maker: Maker) -> None:
    entries = [maker.reading(), _secret(maker), maker.reading()]
    store = TinyStore(tmp_path)
    for entry in entries:
        store.add([entry])
    store.close()
    journal = tmp_path / "entries.jsonl"
    lines = journal.read_bytes().splitlines(keepends=True)
    lines[2] = lines[2].replace(b"reading", b"reaDing")
    journal.write_bytes(b"".join(lines))
    store = TinyStore(tmp_path)
    store.add([_erasure(maker, entries[1])])
    assert lines[2] in journal.read_bytes()
    [damage] = store.damaged
    assert journal.read_bytes()[damage.offset : damage.offset + damage.size] == lines[2]
    assert header_line(store.epoch) in journal.read_bytes()
    store.close()


def test_an_erasure_at_the_clinic_reaches_the_chair_node_over_the_hop(
    tmp_path: Path, maker: Maker, clock: Clock
) -> None:
    clinic = SqlStore(f"sqlite:///{tmp_path}/clinic.sqlite", now=clock)
    chair = TinyStore(tmp_path / "chair", now=clock)
    devices = FileDevices(tmp_path / "devices.json")
    entry = _secret(maker)
    chair.add([maker.reading(), entry])
    forward = _forward(chair, clinic, devices)
    asyncio.run(forward.once())
    clinic.add([_erasure(Maker("clinic", clock), entry)])
    asyncio.run(forward.once())
    assert not _holding(tmp_path)
    assert seal.digest(chair.visit(maker.visit)) == seal.digest(clinic.visit(maker.visit))
    assert seal.verify_store(chair) is None
    chair.close()
    clinic.close()


def test_a_clinic_put_back_to_before_the_erasure_hears_of_it_again(tmp_path: Path, maker: Maker, clock: Clock) -> None:
    chair = TinyStore(tmp_path / "chair", now=clock)
    devices = FileDevices(tmp_path / "devices.json")
    entry = _secret(maker)
    chair.add([entry])
    chair.add([_erasure(maker, entry)])
    clinic = SqlStore(f"sqlite:///{tmp_path}/clinic.sqlite", now=clock)
    clinic.add([entry])
    asyncio.run(_forward(chair, clinic, devices).once())
    assert SECRET not in str(clinic.since().entries)
    assert not clinic.refused()
    chair.close()
    clinic.close()


def _forward(chair: Store, clinic: Store, devices: FileDevices) -> Forward:
    app = FastAPI()
    app.include_router(routes(clinic, devices))
    _, token = devices.add("node", "Bag", "")
    client = httpx.AsyncClient(transport=httpx.ASGITransport(app))
    return Forward(chair, "http://clinic.invalid", token, client=client)


def _holding(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file() and SECRET.encode() in path.read_bytes()]
