"""The hop in."""

from collections.abc import Callable

from fastapi import APIRouter

from sync.access import Devices
from sync.blobs import FolderBlobs
from sync.entry import Entry, Refusal
from sync.store import Store

Check = Callable[[Entry], Refusal | None]
State = Callable[[list[Entry]], str]


def routes(
    store: Store,
    devices: Devices,
    check: Check | None = None,
    *,
    blobs: FolderBlobs | None = None,
    state: State | None = None,
) -> APIRouter:
    """POST/GET /sync/entries, GET /sync/visits, GET /sync/health, PUT/GET /sync/blobs/SHA256; include it as it is.

    `check` refuses entries the application cannot take; `state` names a visit's state for the list of visits
    ("finished" visits are not pulled by others).
    """
    raise NotImplementedError
