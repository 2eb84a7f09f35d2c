"""One node put together: its store, devices, documents, the visits in it, and how it writes entries of its own."""

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from chairapp.box.code import is_code
from chairapp.clinic import CLINIC_VISIT, ClinicDocument
from chairapp.judge.entries import NEVER_ERASED
from chairapp.node.documents import Documents
from chairapp.node.errors import NodeError
from chairapp.node.folder import Folder
from chairapp.node.settings import Settings, is_loopback
from chairapp.people.clinic_book import KIND as CLINIC_KIND
from chairapp.people.proof import Keys, keys_in
from chairapp.people.signing import refused_signature
from chairapp.register import Register
from chairapp.sequence.check import check_entry
from sync import erased
from sync.access import FileDevices, Roster
from sync.blobs import FolderBlobs
from sync.entry import Entry, Refusal, Stamper, canonical, frontier
from sync.erased import ERASURE
from sync.sql_devices import SqlDevices
from sync.sql_store import SqlStore
from sync.store import Store
from sync.tiny_store import TinyStore

__all__ = ["Node", "devices_of", "open_store", "origin_of", "sqlite_url"]


_NO_CLINIC = {
    "clinic": "this clinic is not set up yet: look at the window in which the server was started",
    "chair": "this node has not reached its clinic server yet: start the clinic server, then try again",
}


class Node:
    """`device` is set by the node's side of the hop: its own id at a clinic, the one it was paired under at a chair."""

    def __init__(self, settings: Settings, folder: Folder, store: Store) -> None:
        self.settings = settings
        self.folder = folder
        self.store = store
        self.devices = devices_of(folder, store)
        self.blobs = FolderBlobs(folder.blobs, store.erased_attachments)
        store.listen(self.blobs.shred, erasures=True)
        self.blobs.shred()
        self.documents = Documents(folder)
        self.register = Register(self.store, self.documents.sequence, self.people)
        self.device: Callable[[], str | None] = lambda: None
        self._stamper: Stamper | None = None
        self._digests: dict[str, str] = {}
        self._lock = threading.Lock()

    def clinic(self) -> ClinicDocument:
        """Raises NodeError on a chair node that never reached its clinic."""
        document = self.documents.clinic()
        if document is None:
            raise NodeError(_NO_CLINIC[self.settings.role])
        return document

    def people(self) -> dict[str, str]:
        document = self.documents.clinic()
        return {person.id: person.name for person in document.staff} if document else {}

    def keys(self) -> Keys:
        """The public keys of the clinic's people, each on one tablet, as far as they have come here."""
        return keys_in(self.store.visit(CLINIC_VISIT))

    def label_address(self) -> str:
        """Scheme and host a label leads to; plain http only where that is this machine."""
        return origin_of(self.clinic().label_address)

    def check(self, entry: Entry) -> Refusal | None:
        """What is wrong with an entry that came in. One whose sequence is not known here is taken as it is."""
        if entry["visit"] == CLINIC_VISIT and entry["device"] in self._tablets():
            return Refusal("visit", "a tablet writes nothing on the clinic's own visit", "Sign in again.")
        if entry["kind"] == CLINIC_KIND and self.store.get(entry["id"]) != entry:
            return Refusal("kind", "the clinic's document is changed at the clinic server only", "Change it there.")
        if entry["kind"] == "opened" and (fault := _check_box(entry)):
            return fault
        if entry["kind"] == ERASURE and (fault := self._check_erasure(entry)):
            return fault
        if entry["kind"] == "signature" and (fault := refused_signature(entry, self.documents.clinic(), self.keys())):
            return fault
        sequence = self.documents.sequence(self._digest_for(entry))
        wrong = check_entry(sequence, entry) if sequence else None
        return Refusal(wrong["field"], wrong["why"], wrong["do"]) if wrong else None

    def write(self, visit: str, kind: str, item: str, value: Any, author: str) -> Entry:
        """Add an entry of this node's own. Raises NodeError before the node was paired."""
        with self._lock:
            stamper = self._stamped()
            entries = self.store.visit(visit)
            for entry in entries:
                stamper.merge(entry)
            seen = frontier(entries, ["adjustment"])
            made = stamper.entry(visit, kind, author=author, item=item, value=value, seen=seen)
            if made["id"] not in self.store.add([made]).stored:
                raise NodeError("the entry could not be kept: try again")
            return made

    def erase(self, entry_id: str, reason: str, author: str) -> Entry:
        """Take an entry's value away, here and wherever it was handed on; what was erased stays known by its digest.

        Raises NodeError when there is no such entry, when its kind holds a visit together, or without a reason.
        """
        with self._lock:
            entry = self.store.get(entry_id)
            if entry is None:
                raise NodeError(f"entry {entry_id}: there is no such entry")
            if entry["kind"] in NEVER_ERASED:
                raise NodeError(f"entry {entry_id}: of kind {entry['kind']}, whose value is never erased")
            if not reason.strip():
                raise NodeError("--reason: missing, say why the value has to go")
            stamper = self._stamped()
            for known in self.store.visit(entry["visit"]):
                stamper.merge(known)
            made = erased.make(stamper, entry, reason.strip(), author)
            self.store.add([made])
            return made

    def _tablets(self) -> set[str]:
        return {device.id for device in self.devices.list() if device.kind == "tablet"}

    def _check_erasure(self, entry: Entry) -> Refusal | None:
        named = self.store.get(entry["of"] or "")
        if named and named["kind"] in NEVER_ERASED:
            return Refusal("of", f"names an entry of kind {named['kind']}, whose value is never erased")
        if erased.erasure_in(canonical(entry)) is None:
            return Refusal("value", "names no value to erase", "Erase it at the clinic server.")
        if named and not erased.names(entry, named):
            return Refusal("value", "is not of that entry's value and bytes", "Erase it at the clinic server.")
        return None

    def _stamped(self) -> Stamper:
        if self._stamper is None:
            device = self.device()
            if device is None:
                raise NodeError(
                    "this node is not paired with its clinic server yet: start the clinic server, then try again"
                )
            self._stamper = Stamper(device, last=self.store.latest(device))
        return self._stamper

    def _digest_for(self, entry: Entry) -> str:
        """The sequence this entry's visit was opened with, also when `opened` stands before it in the same batch.

        That of the clinic where the visit is not known yet: items are never removed, so it tells as well.
        """
        visit = entry["visit"]
        if entry["kind"] == "opened":
            self._digests[visit] = str(entry["value"].get("digest", ""))
        if visit not in self._digests:
            stored = [known["value"] for known in self.store.visit(visit) if known["kind"] == "opened"]
            if not stored:
                clinic = self.documents.clinic()
                return clinic.sequence if clinic else ""
            self._digests[visit] = stored[-1]["digest"]
        return self._digests[visit]


def origin_of(host: str) -> str:
    """Where pages of this host are: plain http only on this machine."""
    name = urlsplit(f"//{host}").hostname or ""
    return f"{'http' if is_loopback(name) else 'https'}://{host}"


def open_store(folder: Folder, url: str | None = None) -> Store:
    """The store of this folder for writing. Raises sync.errors.StoreError."""
    if folder.role == "chair":
        return TinyStore(folder.path)
    store = SqlStore(url or sqlite_url(folder.database))
    _move_devices(folder, store)
    return store


def devices_of(folder: Folder, store: Store) -> Roster:
    """A clinic server's devices stand in its database, so that several servers know the same ones."""
    return SqlDevices(store) if isinstance(store, SqlStore) else FileDevices(_devices_file(folder))


def _move_devices(folder: Folder, store: SqlStore) -> None:
    """Take over the file in which an earlier program kept the devices of a clinic server."""
    file = _devices_file(folder)
    if file.exists():
        SqlDevices(store).take_over(FileDevices(file).with_digests())
        file.rename(file.with_suffix(".moved"))


def _devices_file(folder: Folder) -> Path:
    return folder.keys / "devices.json"


def sqlite_url(file: Path) -> str:
    return f"sqlite:///{file.resolve()}"


def _check_box(entry: Entry) -> Refusal | None:
    value = entry["value"]
    box = value.get("box") if isinstance(value, dict) else None
    if isinstance(box, str) and is_code(box):
        return None
    return Refusal("value.box", f"{str(box)[:20]!r} is no box code", "send eight characters with their check character")
