"""POST /people/enrol: a person signs in on a tablet with the network on, for the first time there or once more.

The node looks at the PIN; then it keeps the public half of the key the tablet made for this person, as an entry of the
clinic's own visit. Only nodes write such entries: a key says whose it is because a PIN was verified before.
"""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Depends
from fastapi.concurrency import run_in_threadpool
from pydantic import BaseModel, ConfigDict, Field

from chairapp.clinic import Person
from chairapp.people.errors import NoKey
from chairapp.people.proof import Keys, public_jwk, thumbprint
from sync.access import Device, Devices, require
from sync.border import HopRoute
from sync.errors import NotAllowed
from sync.models import ERRORS

__all__ = ["KNOWN_DAYS", "Enrolled", "Enrolment", "enrol_routes"]

KNOWN_DAYS = 30
"""How long somebody may then sign in on that tablet without the network."""


class Enrolment(BaseModel):
    model_config = ConfigDict(extra="forbid")
    person: Annotated[str, Field(max_length=64)]
    pin: Annotated[str, Field(min_length=1, max_length=64)]
    jwk: dict[str, Any]
    """The public key of this person on this tablet, ECDSA on P-256."""


class Enrolled(BaseModel):
    key: str
    """Thumbprint of the key (RFC 7638), as signatures name it."""
    until: str
    """Until when the PIN opens this tablet without the network, RFC 3339."""


Check = Callable[[str, str], Person]
"""Staff id and PIN to the person. Raises NobodyHere, WrongPin, PinLocked."""
Keep = Callable[[dict[str, Any], str], object]
"""Keeps a key, {"person", "device", "jwk"}, in the name of this person."""


def enrol_routes(devices: Devices, check: Check, keys: Callable[[], Keys], keep: Keep) -> APIRouter:
    router = APIRouter(prefix="/people", tags=["people"], route_class=HopRoute, responses=ERRORS)

    async def tablet(device: Annotated[Device, Depends(require(devices))]) -> Device:
        if device.kind != "tablet":
            raise NotAllowed("People sign in on tablets, this is a node.", field="Authorization")
        return device

    @router.post("/enrol", summary="Sign in on a tablet, and make the person's key there known")
    async def enrol(asked: Enrolment, device: Annotated[Device, Depends(tablet)]) -> Enrolled:
        return await run_in_threadpool(_enrol, asked, device.id, check, keys, keep)

    return router


def _enrol(asked: Enrolment, device: str, check: Check, keys: Callable[[], Keys], keep: Keep) -> Enrolled:
    jwk = public_jwk(asked.jwk)
    if jwk is None:
        raise NoKey("This is no public key on P-256.", field="jwk")
    person = check(asked.person, asked.pin)
    name = thumbprint(jwk)
    known = keys().get(name)
    if known and (known.person, known.device) != (person.id, device):
        raise NoKey("This key is somebody else's.", field="jwk")
    if known is None:
        keep({"person": person.id, "device": device, "jwk": jwk}, person.id)
    until = datetime.now(UTC) + timedelta(days=KNOWN_DAYS)
    return Enrolled(key=name, until=until.isoformat(timespec="seconds").replace("+00:00", "Z"))
