"""The clinic document and the sequence documents as a node keeps them, and the two routes that serve them.

A clinic server writes them, a chair node pulls them; both serve from their copy, so a chair node whose clinic is down
serves on. Sequence documents are addressed by digest and kept for ever.
"""

import json
import re
import threading
from pathlib import Path
from typing import Annotated, Any

import rfc8785
from fastapi import APIRouter, Depends, Request
from fastapi import Path as InPath
from fastapi.responses import JSONResponse, Response

from chairapp.clinic import ClinicDocument, clinic_document, digest, read_clinic
from chairapp.node.folder import Folder, write_whole
from chairapp.sequence import digest as sequence_digest
from sync.access import Devices, require
from sync.border import HopRoute
from sync.errors import NotFound, SyncError
from sync.models import ERRORS

__all__ = ["Documents", "NotJoined", "document_routes"]

_DIGEST = re.compile(r"[0-9a-f]{64}")


class NotJoined(SyncError):
    """A chair node that has never reached its clinic server has no clinic document to give."""

    status = 503
    do = "Start the clinic server, then try again."


class Documents:
    """Read from the data folder, kept in memory; written before they are used."""

    def __init__(self, folder: Folder) -> None:
        self._folder = folder
        self._clinic: ClinicDocument | None = None
        self._read_at: tuple[int, int] | None = None
        self._sequences: dict[str, dict[str, Any]] = {}
        self._lock = threading.Lock()
        with self._lock:
            self._refresh()

    def clinic(self) -> ClinicDocument | None:
        """None on a chair node that has never reached its clinic. Another server on this folder may have changed it."""
        with self._lock:
            self._refresh()
            return self._clinic

    def keep_clinic(self, document: ClinicDocument) -> None:
        with self._lock:
            write_whole(self._folder.clinic, json.dumps(document.model_dump(mode="json"), indent=1).encode())
            self._clinic, self._read_at = document, _state_of(self._folder.clinic)

    def sequence(self, name: str) -> dict[str, Any] | None:
        """The sequence document with this digest, or None where it is not kept."""
        if name not in self._sequences and _DIGEST.fullmatch(name):
            file = self._folder.sequences / f"{name}.json"
            if file.exists():
                self._sequences[name] = json.loads(file.read_bytes())
        return self._sequences.get(name)

    def keep_sequence(self, document: dict[str, Any]) -> str:
        """Keep it under its own digest, which is returned."""
        name = sequence_digest(document)
        if self.sequence(name) is None:
            write_whole(self._folder.sequences / f"{name}.json", rfc8785.dumps(document))
            self._sequences[name] = document
        return name

    def take_clinic(self, raw: Any) -> ClinicDocument:
        """Keep a clinic document that came over the hop. Raises ClinicError when it is none."""
        document = clinic_document(raw, "the clinic server")
        if document != self.clinic():
            self.keep_clinic(document)
        return document

    def _refresh(self) -> None:
        state = _state_of(self._folder.clinic)
        if state and state != self._read_at:
            self._clinic, self._read_at = read_clinic(self._folder.clinic), state


def document_routes(documents: Documents, devices: Devices) -> APIRouter:
    """GET /sync/clinic (ETag) and GET /sync/sequence/DIGEST, for paired devices."""
    router = APIRouter(tags=["sync"], route_class=HopRoute, dependencies=[Depends(require(devices))], responses=ERRORS)
    same: dict[int | str, dict[str, Any]] = {304: {"description": "The one with this ETag is still in force."}}

    @router.get("/sync/clinic", response_model=ClinicDocument, responses=same)
    def clinic(request: Request) -> Response:
        document = documents.clinic()
        if document is None:
            raise NotJoined("This node has not heard from its clinic server yet.", field="clinic")
        tag = f'"{digest(document)}"'
        if tag in request.headers.get("if-none-match", ""):
            return Response(status_code=304, headers=_headers(tag, "no-cache"))
        return JSONResponse(document.model_dump(mode="json"), headers=_headers(tag, "no-cache"))

    @router.get("/sync/sequence/{name}", response_model=dict[str, Any], responses=same)
    def sequence(name: Annotated[str, InPath(pattern="^[0-9a-f]{64}$")], request: Request) -> Response:
        document = documents.sequence(name)
        if document is None:
            raise NotFound("No sequence document with this digest is kept here.", field="digest")
        tag = f'"{name}"'
        headers = _headers(tag, "private, max-age=31536000, immutable")
        if tag in request.headers.get("if-none-match", ""):
            return Response(status_code=304, headers=headers)
        return Response(rfc8785.dumps(document), media_type="application/json", headers=headers)

    return router


def _state_of(file: Path) -> tuple[int, int] | None:
    try:
        status = file.stat()
    except FileNotFoundError:
        return None
    return status.st_mtime_ns, status.st_ino


def _headers(tag: str, caching: str) -> dict[str, str]:
    return {"ETag": tag, "Cache-Control": caching}
