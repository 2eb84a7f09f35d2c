"""With an attachment's entry its bytes are erased, at every node that hears of it, unless another entry names them."""

import asyncio
import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from sync import erased
from sync.access import FileDevices
from sync.blobs import FolderBlobs
from sync.entry import Entry, canonical
from sync.forward import Forward
from sync.routes import routes
from sync.sql_store import SqlStore
from sync.store import Store
from sync.tiny_store import TinyStore
from tests.sync.conftest import Clock, Maker, OpenStore

PICTURE = b"a face, somebody's own" * 1000
NAME = hashlib.sha256(PICTURE).hexdigest()


def _attachment(maker: Maker, visit: str = "") -> Entry:
    value = {"sha256": NAME, "type": "image/png", "bytes": len(PICTURE)}
    return maker.stamper.entry(visit or maker.visit, "attachment", author="staff-1", item="photo", value=value)


def _erasure(maker: Maker, entry: Entry) -> Entry:
    return erased.make(maker.stamper, entry, "asked to by the patient", "mgr-1")


def _blobs(store: Store, folder: Path) -> FolderBlobs:
    blobs = FolderBlobs(folder, store.erased_attachments)
    store.listen(blobs.shred, erasures=True)
    blobs.shred()
    return blobs


def _files(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file() and PICTURE[:100] in path.read_bytes()]


def test_the_bytes_go_with_the_last_entry_that_names_them(open_store: OpenStore, maker: Maker, tmp_path: Path) -> None:
    store = open_store()
    blobs = _blobs(store, tmp_path / "blobs")
    first, second = _attachment(maker), _attachment(maker, maker.stamper.new_id())
    store.add([first, second])
    blobs.put(NAME, PICTURE)
    store.add([_erasure(maker, first)])
    assert (store.named([NAME]), store.erased_attachments()) == ({NAME}, set())
    assert blobs.get(NAME) == PICTURE
    store = open_store()
    blobs = _blobs(store, tmp_path / "blobs")
    store.add([_erasure(maker, second)])
    assert (store.named([NAME]), store.erased_attachments()) == (set(), {NAME})
    assert open_store().erased_attachments() == {NAME}
    assert _files(tmp_path) == []


def test_erased_bytes_that_come_again_are_dropped_whatever_comes_first(
    store: Store, maker: Maker, tmp_path: Path
) -> None:
    blobs = _blobs(store, tmp_path / "blobs")
    entry = _attachment(maker)
    store.add([_erasure(maker, entry)])
    store.add([entry])
    assert store.named([NAME]) == set()
    blobs.put(NAME, PICTURE)
    assert _files(tmp_path) == []
    store.add([_attachment(maker)])
    blobs.put(NAME, PICTURE)
    assert blobs.get(NAME) == PICTURE


def test_a_node_that_ended_between_the_erasure_and_the_deletion_deletes_at_its_next_start(
    open_store: OpenStore, maker: Maker, tmp_path: Path
) -> None:
    store = open_store()
    entry = _attachment(maker)
    FolderBlobs(tmp_path / "blobs").put(NAME, PICTURE)
    store.add([entry])
    store.add([_erasure(maker, entry)])
    assert len(_files(tmp_path)) == 1
    _blobs(open_store(), tmp_path / "blobs")
    assert _files(tmp_path) == []


def test_bytes_that_cannot_be_deleted_now_stop_no_entry_and_go_at_the_next_start(
    store: Store, maker: Maker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    blobs = _blobs(store, tmp_path / "blobs")
    entry = _attachment(maker)
    store.add([entry])
    blobs.put(NAME, PICTURE)
    with monkeypatch.context() as broken:
        broken.setattr(Path, "unlink", _refusing)
        assert store.add([_erasure(maker, entry)]).stored
    assert "erased attachments could not be deleted (Input/output error)" in caplog.text
    assert len(_files(tmp_path)) == 1
    blobs.shred()
    assert _files(tmp_path) == []


def test_an_erasure_that_names_other_bytes_than_its_entry_is_not_meant_for_it(maker: Maker) -> None:
    entry = _attachment(maker)
    erasure = _erasure(maker, entry)
    assert erasure["value"]["blob"] == NAME
    assert erased.names(erasure, entry)
    other = {**erasure, "value": {**erasure["value"], "blob": "0" * 64}}
    assert not erased.names(other, entry)
    bare = {**entry, "value": {"erased": erased.digest_of_value(canonical(entry))}}
    assert erased.names(erasure, bare)


@pytest.fixture
def pair(tmp_path: Path, clock: Clock) -> Iterator["Pair"]:
    pair = Pair(tmp_path, clock)
    yield pair
    pair.chair.close()
    pair.clinic.close()


class Pair:
    """A chair node and its clinic server, both with attachments, in this process."""

    def __init__(self, folder: Path, clock: Clock) -> None:
        self.folder = folder
        self.chair = TinyStore(folder / "chair", now=clock)
        self.clinic = SqlStore(f"sqlite:///{folder}/clinic.sqlite", now=clock)
        self.chair_blobs = _blobs(self.chair, folder / "chair blobs")
        self.clinic_blobs = _blobs(self.clinic, folder / "clinic blobs")
        devices = FileDevices(folder / "devices.json")
        app = FastAPI()
        app.include_router(routes(self.clinic, devices, blobs=self.clinic_blobs, now=clock))
        _, token = devices.add("node", "Bag", "")
        wire: dict[str, Any] = {"client": httpx.AsyncClient(transport=httpx.ASGITransport(app)), "now": clock}
        self.forward = Forward(self.chair, "http://clinic.invalid", token, blobs=self.chair_blobs, **wire)

    def once(self) -> None:
        asyncio.run(self.forward.once())


def test_an_erasure_at_the_clinic_takes_the_bytes_from_the_chair_node_too(
    pair: Pair, maker: Maker, clock: Clock
) -> None:
    entry = _attachment(maker)
    pair.chair.add([entry])
    pair.chair_blobs.put(NAME, PICTURE)
    pair.once()
    assert len(_files(pair.folder)) == 2
    pair.clinic.add([_erasure(Maker("clinic", clock), entry)])
    assert _files(pair.folder / "clinic blobs") == []
    pair.once()
    assert _files(pair.folder) == []


def test_bytes_on_their_way_are_not_waited_for_once_they_are_erased(pair: Pair, maker: Maker) -> None:
    entry = _attachment(maker)
    pair.chair.add([entry])
    pair.once()
    assert pair.chair.kept("upstream blobs")["waiting"] == [NAME]
    pair.chair.add([_erasure(maker, entry)])
    pair.once()
    pair.once()
    assert pair.chair.kept("upstream blobs")["waiting"] == []


def _refusing(*_args: Any, **_named: Any) -> None:
    raise OSError(5, "Input/output error")
