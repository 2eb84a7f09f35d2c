"""Where the clinic's nodes answer: their pages are the only foreign ones that may call /sync here.

A chair node tells its clinic server at every start, so that an address that changed does not stay known for long. What
is kept of a node is dropped from use when the node is removed from the clinic's devices.
"""

import json
import threading
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, Depends, Request
from pydantic import BaseModel, ConfigDict, ValidationError, field_validator

from chairapp.node.settings import is_loopback
from sync.access import Device, Roster, require
from sync.atomic import replace_file
from sync.border import HopRoute, read_json
from sync.errors import BatchError, NotAllowed, SyncError
from sync.models import ERRORS

__all__ = ["Address", "AddressError", "Addresses", "address_routes", "all_names_of"]

_THIS_MACHINE = ("127.0.0.1", "localhost", "[::1]")


class AddressError(SyncError):
    status = 422
    do = 'Send {"address": "https://name"}, with :port where it needs one; plain http only on this machine.'


class Address(BaseModel):
    """Where a node answers, as a browser names the origin of its pages: scheme, host, port if it is not the usual."""

    model_config = ConfigDict(extra="forbid")
    address: str

    @field_validator("address")
    @classmethod
    def _an_origin(cls, text: str) -> str:
        parts = urlsplit(text)
        port = parts.port  # raises ValueError when it is none
        if parts.scheme not in ("http", "https") or not parts.hostname or not text.isascii() or len(text) > 200:
            raise ValueError("this is no address of a node")
        if parts.scheme == "http" and not is_loopback(parts.hostname):
            raise ValueError("plain http is for this machine only")
        name = f"[{parts.hostname}]" if ":" in parts.hostname else parts.hostname
        usual = port is None or port == {"http": 80, "https": 443}[parts.scheme]
        origin = f"{parts.scheme}://{name}" if usual else f"{parts.scheme}://{name}:{port}"
        if text.lower().rstrip("/") not in (origin, f"{parts.scheme}://{name}:{port}"):
            raise ValueError("an address has no path, no user and no question behind it")
        return origin


class Addresses:
    """The addresses of paired nodes in one JSON file; read anew at every use, another process may have written it."""

    def __init__(self, path: Path, devices: Roster) -> None:
        self._path = path
        self._devices = devices
        self._guard = threading.Lock()

    def put(self, device: str, address: str) -> None:
        with self._guard:
            kept = self._kept()
            if kept.get(device) != address:
                replace_file(self._path, json.dumps({**kept, device: address}, indent=1).encode())

    def places(self) -> list[tuple[str, str]]:
        """(name, address) of each node that is still the clinic's, in the order they were paired."""
        kept = self._kept()
        nodes = [device for device in self._devices.list() if device.kind == "node" and not device.revoked]
        return [(node.name, kept[node.id]) for node in nodes if node.id in kept]

    def origins(self) -> set[str]:
        """Of the nodes that are still the clinic's."""
        return all_names_of(address for _, address in self.places())

    def _kept(self) -> dict[str, str]:
        try:
            kept: dict[str, str] = json.loads(self._path.read_bytes())
        except FileNotFoundError:
            return {}
        return kept


def all_names_of(addresses: Iterable[str]) -> set[str]:
    """The addresses, those of this machine under each of its names: a browser shows whichever was typed."""
    found: set[str] = set()
    for address in addresses:
        found.add(address)
        parts = urlsplit(address)
        if is_loopback(parts.hostname or ""):
            port = "" if parts.port is None else f":{parts.port}"
            found |= {f"{parts.scheme}://{name}{port}" for name in _THIS_MACHINE}
    return found


def address_routes(addresses: Addresses, devices: Roster) -> APIRouter:
    """PUT /sync/address, by which a node tells where its own pages come from."""
    router = APIRouter(tags=["sync"], route_class=HopRoute, responses=ERRORS)
    body = {"required": True, "content": {"application/json": {"schema": Address.model_json_schema()}}}

    @router.put("/sync/address", status_code=204, openapi_extra={"requestBody": body}, summary="Tell its own address")
    async def put(request: Request, device: Annotated[Device, Depends(require(devices))]) -> None:
        if device.kind != "node":
            raise NotAllowed("Only a node has an address.", field="Authorization")
        addresses.put(device.id, await _asked(request))

    return router


async def _asked(request: Request) -> str:
    try:
        return Address.model_validate(await read_json(request)).address
    except BatchError as error:
        raise AddressError(error.why, field="body") from error
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(part) for part in first["loc"]) or "body"
        raise AddressError(f"{field}: {first['msg'].removeprefix('Value error, ')}.", field=field) from error
