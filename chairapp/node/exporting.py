"""Exports of a node's data: what the command does without stopping the node, and what the manager's page is given."""

import os
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from nicegui import app as nicegui_app

from chairapp.box.code import parse
from chairapp.box.errors import CodeError
from chairapp.elements.frame import Door, Frame, Page
from chairapp.export.access_page import add_access_page
from chairapp.export.errors import NothingThere
from chairapp.export.export_page import add_export_page, export_routes
from chairapp.export.jobs import Exports
from chairapp.export.period import Period, period_of
from chairapp.export.source import Source, ignore
from chairapp.export.write import Format, check_out, write_export
from chairapp.node.access_log import AccessLog
from chairapp.node.documents import Documents
from chairapp.node.folder import Folder
from chairapp.node.node import Node
from chairapp.node.reading import database, reading
from chairapp.node.settings import read_settings
from chairapp.sequence import digest, document, jaw_relation
from sync.blobs import FolderBlobs
from sync.entry import time_text
from sync.store import Store

__all__ = ["add_exports", "export_all", "sequences_in"]

Doc = dict[str, Any]


def export_all(
    data: Path | None,
    url: str | None,
    kind: Format,
    out: Path,
    environment: Mapping[str, str],
    *,
    since: str | None = None,
    until: str | None = None,
    code: str | None = None,
    visit: str | None = None,
) -> str:
    """Write an export of a node, running or not, or of a database alone; says what is in it.

    Raises ExportError, NodeError and sync.errors.SyncError.
    """
    check_out(kind, out)
    period, box = period_of(since, until), _box(code) if code else None
    with reading(data) if data else database(url or "") as (folder, store):
        source = _source(store, folder, period, box, visit)
        made = datetime.now(UTC)
        if folder:
            days = read_settings(folder.role, folder.path, {}, environment, folder.file).access_days
            noted = AccessLog(folder.path / "log", days, lambda: made)
            source.access = noted.about
            who, what = f"user {_user()}", f"export {kind}, {box or visit or period}"
            noted.note(who, "command", what, visit or "", must=True)
        sequences = list(sequences_in(folder))
        count = write_export(source, kind, out, time_text(int(made.timestamp() * 1000)), sequences, ignore)
        for name in source.given if folder and box else ():
            noted.note(who, "command", what, name)
        head = store.head()
    what = "visit" if count == 1 else "visits"
    left = f" {source.left_out} left out: their sequence is not here." if source.left_out else ""
    return f"{out}: {count} {what}, {source.period}.{left} Chain head {head.hash[:16]} at {head.position}."


def add_exports(app: FastAPI, node: Node, log: AccessLog, page: Page, door: Door, frame: Callable[[], Frame]) -> None:
    """The manager's pages /audit/export and /audit/access, and the routes of the first."""

    def source_of(period: Period, code: str) -> Source:
        blobs, clinic = node.blobs, node.documents.clinic()
        box = _box(code) if code else None
        return Source(node.store, node.documents.sequence, clinic, period, box, blobs=blobs, access=log.about)

    def noted(who: str, what: str, visit: str) -> None:
        person = node.clinic().person(who)
        log.note(who, person.role if person else "", what, visit, must=True)

    def code_of(visit: str) -> str | None:
        line = node.register.line(visit)
        return line.code if line else None

    exports = Exports(node.folder.path / "exports", source_of, lambda: sequences_in(node.folder), noted)
    nicegui_app.on_shutdown(exports.close)
    app.include_router(export_routes(exports, door))
    add_export_page(page, frame, exports)
    add_access_page(page, frame, node.clinic, log.lines, code_of)


def _box(code: str) -> str:
    try:
        return parse(code)
    except CodeError as error:
        raise NothingThere(f"code: {error}") from None


def sequences_in(folder: Folder | None) -> Iterator[tuple[str, Doc]]:
    """Every sequence document that is kept, by digest; the program's own where there is no folder."""
    if folder is None:
        own = document(jaw_relation())
        yield digest(own), own
        return
    documents = Documents(folder)
    for file in sorted(folder.sequences.glob("*.json")):
        if known := documents.sequence(file.stem):
            yield file.stem, known


def _source(store: Store, folder: Folder | None, period: Period, code: str | None, visit: str | None) -> Source:
    if folder is None:
        own = document(jaw_relation())
        name = digest(own)
        return Source(store, lambda asked: own if asked == name else None, None, period, code, visit)
    documents = Documents(folder)
    return Source(store, documents.sequence, documents.clinic(), period, code, visit, FolderBlobs(folder.blobs))


def _user() -> str:
    return os.environ.get("SUDO_USER") or os.environ.get("USER") or str(os.getuid())
