"""A backup is whole or it is none; what comes back from it is what was there, and the others bring the rest."""

import asyncio
import hashlib
import random
import threading
import zipfile
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from sync import erased, seal
from sync.access import Device, FileDevices
from sync.backup import BACKED_UP, backed_up_to, open_backup, remember, write_backup
from sync.entry import Refusal
from sync.errors import BackupError, StoreNotEmpty
from sync.forward import Forward
from sync.routes import routes
from sync.sql_store import SqlStore
from sync.store import Store
from sync.tiny_store import TinyStore
from tests.sync.conftest import MORNING, Clock, Maker, OpenStore
from tests.sync.test_crash import FailingDisk

NO = Refusal("value", "is wrong", "Correct it.")
TABLET = Device("0b5f6c1e-7a52-4a51-9d3e-2f3f0a4b9c11", "tablet", "K", "Chair 1")
FILES = {"clinic.json": b'{"clinic": 1}', "blobs/" + "0" * 64: bytes(range(256)) * 9}


def _fill(store: Store, maker: Maker, clock: Clock) -> None:
    entries = maker.readings(4)
    store.add(entries[:2])
    clock.now += 60_000
    store.add(entries[2:], source="upstream")
    store.add([erased.make(maker.stamper, entries[1], "asked to", "mgr-1")])
    store.refuse({"odd": "\ud800", "number": float("inf")}, NO, "tablet-1")
    store.settle(store.refuse({"odd": 2}, NO, "tablet-2").key)
    store.keep("small", {"value": 1})


def _backup(store: Store, to: Path, **how: Any) -> Path:
    write_backup(store, to, devices=[(TABLET, "d" * 64)], files=FILES.items(), now=MORNING, **how)
    return to


def _all(store: Store, visit: str) -> tuple[Any, ...]:
    links = [(link.position, link.data, link.received, link.source, link.bare) for link in store.links()]
    return links, store.refused(), store.all_kept(), store.received(visit), set(store.erasures())


def test_what_comes_back_is_what_was_there(store: Store, maker: Maker, clock: Clock, tmp_path: Path) -> None:
    _fill(store, maker, clock)
    backup = open_backup(_backup(store, tmp_path / "clinic.backup"))
    assert backup.head == store.head()
    assert backup.made == "2026-11-25T09:46:40.000Z"
    assert backup.devices() == [(TABLET, "d" * 64)]
    assert dict(backup.files()) == FILES
    for other in (TinyStore(tmp_path / "other"), SqlStore(f"sqlite:///{tmp_path}/other.sqlite")):
        backup.restore_into(other)
        held, kept = _all(other, maker.visit), _all(store, maker.visit)
        assert [link[:4] for link in held[0]] == [link[:4] for link in kept[0]]
        assert held[1:] == kept[1:]
        assert other.epoch != store.epoch
        assert seal.verify_store(other) is None
        other.close()


def test_only_its_owner_can_read_a_backup(store: Store, tmp_path: Path) -> None:
    assert _backup(store, tmp_path / "clinic.backup").stat().st_mode & 0o777 == 0o600


def test_the_backup_of_an_empty_store_is_one_too(store: Store, tmp_path: Path) -> None:
    backup = open_backup(_backup(store, tmp_path / "clinic.backup"))
    assert list(backup.links()) == []
    assert backup.head.position == 0


def test_a_store_with_entries_is_never_restored_over(store: Store, maker: Maker, clock: Clock, tmp_path: Path) -> None:
    _fill(store, maker, clock)
    before = _all(store, maker.visit)
    backup = open_backup(_backup(store, tmp_path / "clinic.backup"))
    with pytest.raises(StoreNotEmpty, match="There are entries in"):
        backup.restore_into(store)
    assert _all(store, maker.visit) == before


def test_a_backup_taken_while_others_write_is_whole(database: str, maker: Maker, tmp_path: Path) -> None:
    store, writer = SqlStore(database), SqlStore(database)
    store.add(maker.readings(20))
    done = threading.Event()

    def write() -> None:
        while not done.is_set():
            writer.add(maker.readings(3))

    writing = threading.Thread(target=write)
    writing.start()
    for number in range(5):
        backup = open_backup(_backup(store, tmp_path / f"{number}.backup"))
        assert backup.head.position >= 20
        assert store.hash_at(backup.head.position) == backup.head.hash
    done.set()
    writing.join()
    store.close()
    writer.close()


def test_a_running_nodes_folder_is_backed_up_without_its_lock(tmp_path: Path, maker: Maker) -> None:
    node = TinyStore(tmp_path / "node")
    node.add(maker.readings(3))
    reader = TinyStore(tmp_path / "node", write=False)
    node.add(maker.readings(2))
    assert open_backup(_backup(reader, tmp_path / "node.backup")).head.position == 3
    node.close()


def test_any_bit_changed_in_the_file_is_refused(store: Store, maker: Maker, clock: Clock, tmp_path: Path) -> None:
    _fill(store, maker, clock)
    path = _backup(store, tmp_path / "clinic.backup")
    whole = path.read_bytes()
    chance = random.Random(4)
    for byte in range(len(whole)):
        flipped = bytearray(whole)
        flipped[byte] ^= 1 << chance.randrange(8)
        path.write_bytes(flipped)
        with pytest.raises(BackupError):
            open_backup(path)
    path.write_bytes(whole)
    open_backup(path)


def test_a_file_cut_off_anywhere_is_refused(store: Store, maker: Maker, clock: Clock, tmp_path: Path) -> None:
    _fill(store, maker, clock)
    path = _backup(store, tmp_path / "clinic.backup")
    whole = path.read_bytes()
    for size in [*range(0, len(whole), 37), len(whole) - 1]:
        path.write_bytes(whole[:size])
        with pytest.raises(BackupError, match="is no backup, or it was cut off or changed after it was written"):
            open_backup(path)


def test_a_forged_backup_with_a_right_seal_does_not_hold(store: Store, maker: Maker, tmp_path: Path) -> None:
    store.add(maker.readings(3))
    path = _backup(store, tmp_path / "clinic.backup")
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    for name, old, new, why in (
        ("entries.jsonl", b'"staff-1"', b'"staff-2"', "is not whole: entries.jsonl is not what was written"),
        ("manifest.json", b'"backup": 1', b'"backup": 2', "has format 2; this program reads 1"),
        ("manifest.json", b"{", b"", "its manifest cannot be read"),
        ("manifest.json", b'"head": [', b'"head": [1, ', "its manifest cannot be read"),
    ):
        _seal(path, {**parts, name: parts[name].replace(old, new, 1)})
        with pytest.raises(BackupError, match=why):
            open_backup(path)
    _seal(path, {name: data for name, data in parts.items() if name != "kept.json"})
    with pytest.raises(BackupError, match=r"is not whole: kept\.json cannot be read"):
        open_backup(path)


def test_a_store_whose_chain_is_broken_is_not_backed_up_as_if_it_held(tmp_path: Path, maker: Maker) -> None:
    store = SqlStore(f"sqlite:///{tmp_path}/clinic.sqlite")
    store.add(maker.readings(3))
    to = _backup(store, tmp_path / "clinic.backup")
    before = to.read_bytes()
    with store.engine.connect().execution_options(writes=True) as connection, connection.begin():
        connection.exec_driver_sql("DELETE FROM entry WHERE position = 2")
    with pytest.raises(BackupError, match="was not replaced: what was written does not hold: entry 2 is missing"):
        _backup(store, to)
    assert to.read_bytes() == before
    assert sorted(path.name for path in tmp_path.glob("*.backup*")) == ["clinic.backup"]
    store.close()


@pytest.mark.parametrize("room", [0, 1, 100, 700, 1500])
def test_a_full_disk_leaves_the_backup_of_before(
    store: Store, maker: Maker, clock: Clock, tmp_path: Path, room: int
) -> None:
    to = _backup(store, tmp_path / "clinic.backup")
    before = to.read_bytes()
    _fill(store, maker, clock)
    disk = FailingDisk()
    disk.room = room
    with pytest.raises(BackupError, match=r"clinic\.backup could not be written: No space left on device\."):
        _backup(store, to, disk=disk)
    assert to.read_bytes() == before
    assert list(tmp_path.glob(".*.new")) == []


def test_a_disk_that_does_not_confirm_leaves_the_backup_of_before(store: Store, maker: Maker, tmp_path: Path) -> None:
    to = _backup(store, tmp_path / "clinic.backup")
    before = to.read_bytes()
    store.add(maker.readings(2))
    disk = FailingDisk()
    disk.fail_sync = True
    with pytest.raises(BackupError, match="Input/output error"):
        _backup(store, to, disk=disk)
    assert to.read_bytes() == before


def test_a_disk_that_gives_back_other_bytes_than_it_took_leaves_the_backup_of_before(
    store: Store, maker: Maker, tmp_path: Path
) -> None:
    class Forgetful(FailingDisk):
        def write(self, file: int, data: bytes) -> int:
            return super().write(file, data.replace(b"PK", b"pk"))

    to = _backup(store, tmp_path / "clinic.backup")
    before = to.read_bytes()
    store.add(maker.readings(2))
    with pytest.raises(BackupError, match="was not replaced: what was written is no backup"):
        _backup(store, to, disk=Forgetful())
    assert to.read_bytes() == before


def test_a_folder_that_is_not_there_is_said_so(store: Store, tmp_path: Path) -> None:
    with pytest.raises(BackupError, match="No such file or directory"):
        _backup(store, tmp_path / "nowhere" / "clinic.backup")
    with pytest.raises(BackupError, match=r"nothing\.backup cannot be read: No such file"):
        open_backup(tmp_path / "nothing.backup")


def test_the_store_remembers_how_far_its_last_verified_backup_goes(
    open_store: OpenStore, maker: Maker, tmp_path: Path
) -> None:
    store = open_store()
    store.add(maker.readings(3))
    assert backed_up_to(store) == 0
    remember(store, open_backup(_backup(store, tmp_path / "a.backup")))
    store.add(maker.readings(2))
    assert backed_up_to(open_store()) == 3


def test_a_restored_store_is_in_no_backup_yet(store: Store, maker: Maker, tmp_path: Path) -> None:
    store.add(maker.readings(3))
    remember(store, open_backup(_backup(store, tmp_path / "a.backup")))
    other = TinyStore(tmp_path / "other")
    open_backup(_backup(store, tmp_path / "b.backup")).restore_into(other)
    assert other.kept(BACKED_UP) is not None
    assert backed_up_to(other) == 0
    other.close()


def test_a_purged_store_is_backed_up_with_its_chain_and_restored_with_what_it_has(tmp_path: Path, maker: Maker) -> None:
    store = TinyStore(tmp_path / "node")
    visits = [maker.stamper.new_id() for _ in range(3)]
    for _ in range(2):
        for visit in visits:
            store.add([maker.reading(visit=visit)])
    store.purge([visits[0]])
    store.purge([visits[2]])
    backup = open_backup(_backup(store, tmp_path / "node.backup"))
    assert (backup.cut.position, backup.head.position) == (1, 6)
    other = TinyStore(tmp_path / "other")
    backup.restore_into(other)
    assert other.since().entries == store.visit(visits[1])
    assert seal.verify_store(other) is None
    store.close()
    other.close()


def test_a_clinic_restored_from_an_older_backup_gets_everything_back_exactly_once(
    tmp_path: Path, maker: Maker, clock: Clock
) -> None:
    chair = TinyStore(tmp_path / "chair", now=clock)
    clinic = SqlStore(f"sqlite:///{tmp_path}/clinic.sqlite", now=clock)
    elsewhere = Maker("tablet-2", clock)
    devices = FileDevices(tmp_path / "devices.json")
    app = FastAPI()
    _, token = devices.add("node", "Bag", "")
    forward = Forward(
        chair, "http://clinic.invalid", token, client=httpx.AsyncClient(transport=httpx.ASGITransport(app))
    )
    app.include_router(routes(clinic, devices))
    chair.add(maker.readings(3))
    clinic.add(elsewhere.readings(2))
    asyncio.run(forward.once())
    path = _backup(clinic, tmp_path / "old.backup")
    chair.add(maker.readings(4))
    clinic.add(elsewhere.readings(2))
    asyncio.run(forward.once())
    everything = {entry["id"] for entry in clinic.since().entries}
    assert len(everything) == 11
    clinic.close()

    restored = SqlStore(f"sqlite:///{tmp_path}/restored.sqlite", now=clock)
    open_backup(path).restore_into(restored)
    assert restored.head().position == 5
    app.router.routes.clear()
    app.include_router(routes(restored, devices))
    asyncio.run(forward.once())
    held = [entry["id"] for entry in restored.since().entries]
    assert len(held) == 11
    assert set(held) == everything
    for visit in (maker.visit, elsewhere.visit):
        assert seal.digest(restored.visit(visit)) == seal.digest(chair.visit(visit))
    assert not restored.refused()
    restored.close()
    chair.close()


def _seal(path: Path, parts: dict[str, bytes]) -> None:

    with zipfile.ZipFile(path, "w") as archive:
        archive.comment = b"0" * 64
        for name, data in parts.items():
            archive.writestr(name, data)
    data = path.read_bytes()[:-64]
    path.write_bytes(data + hashlib.sha256(data).hexdigest().encode())
