"""Stores as earlier programs left them are read for ever; `golden_stores/` is never written again, only added to.

journal-1             the journal of a chair node: batches, an erased value, a purged visit, the drawer
sqlite-0001.sqlite    the first layout of the database     sqlite-0002.sqlite   with erasures and devices
sqlite-0003.sqlite    with attachments and secrets         expected.json        what is in them
backup-1.backup       a backup of sqlite-0002.sqlite
"""

import hashlib
import json
import shutil
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path
from typing import Any
from zlib import crc32

import pytest

from sync import seal
from sync.backup import open_backup
from sync.entry import Entry, in_order
from sync.errors import BackupError, StoreNewer, StoreOlder
from sync.sql_devices import SqlDevices
from sync.sql_store import SqlStore
from sync.store import Head, Store
from sync.tiny_store import TinyStore
from tests.sync.conftest import Maker

GOLDEN = Path(__file__).parent / "golden_stores"
EXPECTED: dict[str, Any] = json.loads((GOLDEN / "expected.json").read_text())
ERASED: Entry = EXPECTED["entries"][7]
TOKEN = "a token"


@pytest.fixture(params=["journal-1", "sqlite-0001.sqlite", "sqlite-0002.sqlite", "sqlite-0003.sqlite"])
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def _open(name: str, folder: Path) -> Store:
    if name.startswith("journal"):
        shutil.copytree(GOLDEN / name, folder / name, dirs_exist_ok=True)
        return TinyStore(folder / name)
    if not (folder / name).exists():
        shutil.copy(GOLDEN / name, folder)
    return SqlStore(f"sqlite:///{folder / name}")


def _held(name: str) -> list[Entry]:
    """The entries this store should give, in the order of receipt."""
    entries = [dict(entry) for entry in EXPECTED["entries"]]
    if name != "sqlite-0001.sqlite":
        entries[7]["value"] = {"erased": EXPECTED["erasure"]["value"]["sha256"]}
        entries.append(EXPECTED["erasure"])
    gone = EXPECTED["visits"][0] if name.startswith("journal") else None
    return [entry for entry in entries if entry["visit"] != gone]


def test_a_golden_store_gives_what_was_put_into_it(name: str, tmp_path: Path) -> None:
    store = _open(name, tmp_path)
    held = _held(name)
    assert store.since().entries == held
    for visit in EXPECTED["visits"]:
        assert store.visit(visit) == in_order(entry for entry in held if entry["visit"] == visit)
    assert [(record.entry, record.device, record.settled) for record in store.refused()] == [
        ({"nonsense": 1}, "tablet-1", True),
        ({"nonsense": 2}, "tablet-2", False),
    ]
    assert store.kept("small") == {"value": 1}
    store.close()


def test_the_chain_of_a_golden_store_leads_to_the_head_it_had(name: str, tmp_path: Path) -> None:
    store = _open(name, tmp_path)
    assert store.head() == Head(*EXPECTED["heads"][name])
    assert seal.verify_store(store) is None
    assert store.cut().position == (EXPECTED["cut"][1] if name.startswith("journal") else 0)
    store.close()


def test_a_golden_store_goes_on(name: str, tmp_path: Path, maker: Maker) -> None:
    store = _open(name, tmp_path)
    position = store.head().position
    assert store.add([*_held(name), ERASED]).new == []
    store.add([EXPECTED["erasure"], *maker.readings(2)])
    assert ERASED["value"] not in [entry["value"] for entry in store.since().entries]
    assert store.head().position == position + 2 + (name == "sqlite-0001.sqlite")
    assert seal.verify_store(store) is None
    store.close()


def test_the_devices_of_a_golden_database_are_known_by_their_tokens(tmp_path: Path) -> None:
    store = _open("sqlite-0002.sqlite", tmp_path)
    assert isinstance(store, SqlStore)
    found = SqlDevices(store).by_token(TOKEN)
    assert found is not None
    assert (found.letter, found.name) == ("K", "Chair 1")
    store.close()


def test_a_golden_backup_comes_back(tmp_path: Path) -> None:
    backup = open_backup(GOLDEN / "backup-1.backup")
    assert backup.head == Head(*EXPECTED["heads"]["backup-1.backup"])
    assert dict(backup.files()) == {"clinic.json": b"{}"}
    assert [device.letter for device, _ in backup.devices()] == ["K"]
    store = TinyStore(tmp_path)
    backup.restore_into(store)
    assert store.since().entries == _held("sqlite-0002.sqlite")
    store.close()


def test_the_first_layout_is_not_changed_by_reading(tmp_path: Path) -> None:
    shutil.copy(GOLDEN / "sqlite-0001.sqlite", tmp_path)
    with pytest.raises(StoreOlder):
        SqlStore(f"sqlite:///{tmp_path}/sqlite-0001.sqlite", write=False)


def test_a_journal_of_a_newer_program_is_refused_and_not_touched(tmp_path: Path) -> None:
    lines = (GOLDEN / "journal-1" / "entries.jsonl").read_bytes().splitlines(keepends=True)
    for number in (0, 1):
        payload = lines[number][9:-1].replace(b'"journal": 1', b'"journal": 2')
        lines[number] = b"%08x %b\n" % (crc32(payload), payload)
    path = tmp_path / "entries.jsonl"
    path.write_bytes(b"".join(lines))
    for write in (True, False):
        with pytest.raises(StoreNewer, match=r"entries\.jsonl has format 2, newer than 1") as refused:
            TinyStore(tmp_path, write=write)
        assert refused.value.do == "Start it with the newer program that made it."
    assert path.read_bytes() == b"".join(lines)


def test_a_database_of_a_newer_program_is_refused_and_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "clinic.sqlite"
    shutil.copy(GOLDEN / "sqlite-0003.sqlite", path)
    for statement, why in (
        ("UPDATE head SET format = 2", "The database has format 2, newer than 1"),
        ("UPDATE alembic_version SET version_num = '0004'", "The database has layout 0004, newer than 0003"),
    ):
        with closing(sqlite3.connect(path)) as connection, connection:
            connection.execute(statement)
        for write in (True, False):
            with pytest.raises(StoreNewer, match=why):
                SqlStore(f"sqlite:///{path}", write=write)


def test_a_backup_of_a_newer_program_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "new.backup"
    with zipfile.ZipFile(GOLDEN / "backup-1.backup") as old, zipfile.ZipFile(path, "w") as new:
        new.comment = b"0" * 64
        for part in old.namelist():
            new.writestr(part, old.read(part).replace(b'"backup": 1', b'"backup": 2'))
    data = path.read_bytes()[:-64]
    path.write_bytes(data + hashlib.sha256(data).hexdigest().encode())
    with pytest.raises(BackupError, match="has format 2; this program reads 1"):
        open_backup(path)
