"""GET /sync/pins: what a chair node needs to sign the clinic's people in while the clinic server is away."""

import hashlib
from typing import Annotated

import rfc8785
from fastapi import APIRouter, Depends, Request
from fastapi.responses import JSONResponse, Response

from chairapp.people.pins import Pins
from sync.access import Device, Devices, require
from sync.border import HopRoute
from sync.errors import NotAllowed
from sync.models import ERRORS

__all__ = ["pin_routes"]


def pin_routes(pins: Pins, devices: Devices) -> APIRouter:
    """{staff id: argon2id hash} with an ETag, for nodes only: a tablet could be stolen, and a PIN is short."""
    router = APIRouter(tags=["sync"], route_class=HopRoute, responses=ERRORS)

    @router.get(
        "/sync/pins", summary="The hashes of the PINs, for chair nodes", responses={304: {"description": "Same."}}
    )
    def verifiers(request: Request, device: Annotated[Device, Depends(require(devices))]) -> Response:
        if device.kind != "node":
            raise NotAllowed("PINs go to the clinic's own nodes only.", field="Authorization")
        kept = pins.verifiers()
        tag = f'"{hashlib.sha256(rfc8785.dumps(kept)).hexdigest()}"'
        headers = {"ETag": tag, "Cache-Control": "no-store"}
        if tag in request.headers.get("if-none-match", ""):
            return Response(status_code=304, headers=headers)
        return JSONResponse(kept, headers=headers)

    return router
