"""GET /sync/devices/removed: how a chair node learns which tablets the clinic has removed or blocked."""

from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, Depends

from sync.access import Device, Roster, require
from sync.border import HopRoute
from sync.errors import NotAllowed
from sync.models import ERRORS

__all__ = ["removed_routes", "take_removed"]


def removed_routes(devices: Roster) -> APIRouter:
    """{id of a removed device: whether it is blocked}, for nodes only."""
    router = APIRouter(tags=["sync"], route_class=HopRoute, responses=ERRORS)

    @router.get("/sync/devices/removed", summary="Which devices were removed, for chair nodes")
    def removed(device: Annotated[Device, Depends(require(devices))]) -> dict[str, bool]:
        if device.kind != "node":
            raise NotAllowed("Only the clinic's own nodes are told.", field="Authorization")
        return {known.id: known.blocked for known in devices.list() if known.revoked}

    return router


def take_removed(devices: Roster, removed: Mapping[str, bool]) -> None:
    """Remove here what was removed at the clinic."""
    for device in devices.list():
        if device.id in removed and (not device.revoked or device.blocked != removed[device.id]):
            devices.revoke(device.id, block=removed[device.id])
