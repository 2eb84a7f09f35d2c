"""POST /pair: how a tablet or a chair node gets its identity, its letter and its token.

It takes a one-time code that a manager of the clinic made; without one only in a demonstration. The call must come to a
loopback name, from a page of this very node (or from no page at all), and through no proxy. Tokens are shown once;
their hashes are kept.
"""

import asyncio
from collections import Counter
from collections.abc import Awaitable, Callable, Sequence
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, StringConstraints, ValidationError

from chairapp.clinic import ClinicDocument
from chairapp.people.callers import Callers, caller_of
from sync.access import Device, Letter, Roster, new_token
from sync.models import ERRORS

Pair = Callable[["PairingRequest", str | None], Awaitable[dict[str, Any]]]

__all__ = ["Pair", "Pairing", "PairingRefused", "PairingRequest", "next_letter", "pair_route"]

_FORWARDED = ("forwarded", "via", "x-forwarded-for", "x-forwarded-host", "x-forwarded-proto", "x-real-ip")
_BODY_MAX = 4096
_GUESSED = ("code", "Authorization")


class PairingRequest(BaseModel):
    model_config = ConfigDict(extra="forbid")
    kind: Literal["tablet", "node"]
    name: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80, pattern=r"\S")]
    code: Annotated[str, StringConstraints(max_length=40)] = ""
    """The one-time code a manager made."""
    token: Annotated[str, StringConstraints(max_length=100)] = ""
    """The one this device has already: unless it was removed it keeps its id and letter."""


class Paired(BaseModel):
    """Who the device is from now on. The token is shown this once."""

    device: str
    letter: str
    token: str
    clinic: ClinicDocument


class PairingRefused(Exception):
    """Answered as {"error": {"field", "why", "do"}} with this status."""

    def __init__(self, status: int, field: str, why: str, do: str) -> None:
        super().__init__(why)
        self.status, self.field, self.why, self.do = status, field, why, do


class Pairing:
    """The clinic server's side: it alone hands out identities, so letters and ids are the clinic's own."""

    def __init__(
        self, devices: Roster, clinic: Callable[[], ClinicDocument], letters: Sequence[str], use: Callable[[str], bool]
    ) -> None:
        """`use` says whether a code lets a device in, "" for none, and has it used."""
        self._devices = devices
        self._use = use
        self._clinic = clinic
        self._letters = letters

    async def __call__(self, asked: PairingRequest, token: str | None) -> dict[str, Any]:
        """`token` is that of the chair node passing the request on; a node removed from the clinic pairs nobody."""
        node = await asyncio.to_thread(self._devices.by_token, token) if token else None
        if token and (node is None or node.revoked or node.kind != "node"):
            raise PairingRefused(
                401, "Authorization", "this clinic does not know the node that asks", "pair the node again"
            )
        if not await asyncio.to_thread(self._use, asked.code):
            raise PairingRefused(403, "code", *(_WRONG_CODE if asked.code else _NO_CODE))
        device, token = await asyncio.to_thread(self._paired, asked)
        clinic = self._clinic().model_dump(mode="json")
        return {"device": device.id, "letter": device.letter, "token": token, "clinic": clinic}

    def _paired(self, asked: PairingRequest) -> tuple[Device, str]:
        """A new device, or one known already with a further token: an answer may get lost, so the old one stays."""
        known = self._devices.by_token(asked.token) if asked.token else None
        if known is None or known.revoked or known.kind != asked.kind:
            return self._devices.add(asked.kind, asked.name, self._letter(asked))
        token = new_token()
        self._devices.adopt(known, token)
        return known, token

    def _letter(self, asked: PairingRequest) -> Letter:
        return (lambda known: next_letter(known, self._letters)) if asked.kind == "tablet" else ""


def next_letter(devices: Sequence[Device], letters: Sequence[str]) -> str:
    """The letter fewest tablets ever had, so that a letter is shared only when all have been given out."""
    given = Counter(device.letter for device in devices if device.kind == "tablet")
    return min(letters, key=lambda letter: (given[letter], letters.index(letter)))


def pair_route(pair: Pair, is_loopback: Callable[[str], bool], tries: Callers) -> APIRouter:
    """The route around `pair`, which is a clinic server's Pairing or a chair node's way to one."""
    router = APIRouter(tags=["sync"])
    body = {"required": True, "content": {"application/json": {"schema": PairingRequest.model_json_schema()}}}

    @router.post("/pair", response_model=Paired, responses=ERRORS, openapi_extra={"requestBody": body})
    async def post_pair(request: Request) -> JSONResponse:
        try:
            _from_this_machine(request, is_loopback)
            _may_try(tries.wait(caller_of(request)))
            answer, status = await pair(await _asked(request), _token(request)), 200
        except PairingRefused as refused:
            if refused.field in _GUESSED and refused.status in (401, 403):
                tries.wrong(caller_of(request))
            answer, status = {"error": {"field": refused.field, "why": refused.why, "do": refused.do}}, refused.status
        return JSONResponse(answer, status, headers={"Cache-Control": "no-store", "Threemark-Protocol": "1"})

    return router


def _may_try(wait: int) -> None:
    if wait:
        raise PairingRefused(
            429, "code", f"too many wrong codes came from here: wait {wait} seconds", "then try once more"
        )


def _token(request: Request) -> str | None:
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    return token if scheme.lower() == "bearer" and token else None


async def _asked(request: Request) -> PairingRequest:
    body = await request.body()
    try:
        if len(body) > _BODY_MAX:
            raise PairingRefused(413, "", "the request is too large", "send kind and name only")
        return PairingRequest.model_validate_json(body)
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(part) for part in first["loc"])
        raise PairingRefused(422, field, f"{field or 'body'}: {first['msg']}", _SEND) from None


_NO_CODE = ("pairing needs a one-time code of the clinic", "ask the practice manager for one")
_WRONG_CODE = ("this code was used before, is over or never was", "ask the practice manager for a new one")
_SEND = 'send {"kind": "tablet" or "node", "name": a name for it of up to 80 characters, "code": of the clinic}'


def _from_this_machine(request: Request, is_loopback: Callable[[str], bool]) -> None:
    """A page of another site can post here, and a name of another site can be made to point here: look at both."""
    host = request.headers.get("host", "")
    if not is_loopback(urlsplit(f"//{host}").hostname or ""):
        raise PairingRefused(403, "host", "pairing works on this machine only", "open the page at 127.0.0.1")
    origin = request.headers.get("origin")
    if origin is not None and origin.lower() != f"{request.url.scheme}://{host}".lower():
        raise PairingRefused(
            403, "origin", "another site's page asked to pair", "pair from the tablet page of this node"
        )
    if any(name in request.headers for name in _FORWARDED):
        raise PairingRefused(403, "host", "the request came through a proxy", "open the page at 127.0.0.1 itself")
