"""The border of the API: what a body may be, and the one shape of every error."""

import asyncio
import json
import zlib
from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exception_handlers import http_exception_handler
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException as StarletteHTTPException

from sync.errors import (
    BatchError,
    BodyTooLarge,
    BodyTooSlow,
    EncodingError,
    ProtocolError,
    SyncError,
)

__all__ = ["BODY_MAX", "PROTOCOL", "HopRoute", "answer_errors", "error_answer", "read_body", "read_json"]

PROTOCOL = "1"
BODY_MAX = 2 * 1024 * 1024
BODY_SECONDS = 30.0

Handler = Callable[[Request], Coroutine[Any, Any, Response]]


class HopRoute(APIRoute):
    """A route of the API, by `APIRouter(route_class=HopRoute)`: names the protocol, gives errors one shape."""

    def get_route_handler(self) -> Handler:
        handle = super().get_route_handler()

        async def handled(request: Request) -> Response:
            answer = await _answered(handle, request)
            answer.headers["Threemark-Protocol"] = PROTOCOL
            return answer

        return handled


def answer_errors(app: FastAPI) -> None:
    """Give the one shape also to what is asked under /sync and no route answers (a wrong address, a wrong method)."""

    async def answered(request: Request, error: Exception) -> Response:
        if not isinstance(error, StarletteHTTPException):
            raise error
        if not request.url.path.startswith("/sync/"):
            return await http_exception_handler(request, error)
        answer = _http_error(error)
        answer.headers["Threemark-Protocol"] = PROTOCOL
        return answer

    app.add_exception_handler(StarletteHTTPException, answered)


async def read_body(request: Request, limit: int = BODY_MAX, seconds: float = BODY_SECONDS) -> bytes:
    """The body, unpacked when it came as gzip.

    Raises BodyTooLarge as soon as more than `limit` bytes have come, packed or unpacked; BodyTooSlow; EncodingError.
    """
    encoding = request.headers.get("content-encoding", "identity").strip().lower()
    if encoding not in ("identity", "gzip"):
        raise EncodingError("The body is in an encoding that is not read here.", field="Content-Encoding")
    try:
        async with asyncio.timeout(seconds):
            data = await _collect(request, limit)
    except TimeoutError:
        raise BodyTooSlow(f"The body did not arrive within {seconds:g} seconds.", field="body") from None
    return _unpack(data, limit) if encoding == "gzip" else data


async def read_json(request: Request) -> Any:
    """The body as JSON. Raises BatchError when it is not, and what `read_body` raises."""
    body = await read_body(request)
    try:
        return json.loads(body.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        # ValueError covers text that is not UTF-8, broken JSON, and numbers of more digits than Python reads.
        raise BatchError("The body is not JSON in UTF-8.", field="body") from error


def error_answer(error: SyncError) -> JSONResponse:
    headers = {"WWW-Authenticate": "Bearer"} if error.status == 401 else None
    return JSONResponse(error.as_json(), error.status, headers)


async def _answered(handle: Handler, request: Request) -> Response:
    spoken = request.headers.get("threemark-protocol", PROTOCOL)
    try:
        if spoken != PROTOCOL:
            why = f"This side speaks protocol {PROTOCOL}, the other one {spoken[:8]!r}: update the older of the two."
            raise ProtocolError(why, field="Threemark-Protocol")
        return await handle(request)
    except SyncError as error:
        return error_answer(error)
    except RequestValidationError as error:
        return _invalid(error)
    except StarletteHTTPException as error:
        return _http_error(error)


def _http_error(error: StarletteHTTPException) -> JSONResponse:
    body = {"error": {"field": "", "why": f"{error.detail}.", "do": "Check the address and what was sent."}}
    return JSONResponse(body, error.status_code, error.headers)


def _invalid(error: RequestValidationError) -> JSONResponse:
    first = error.errors()[0]
    field = ".".join(str(part) for part in first["loc"][1:]) or "body"
    body = {"error": {"field": field, "why": f"{field}: {first['msg']}", "do": "Correct it and send it again."}}
    return JSONResponse(body, 400)


async def _collect(request: Request, limit: int) -> bytes:
    declared = request.headers.get("content-length", "")
    if declared.isdigit() and int(declared[:18]) > limit:
        raise BodyTooLarge(f"A body may have at most {limit} bytes.", field="body")
    data = bytearray()
    async for chunk in request.stream():
        data += chunk
        if len(data) > limit:
            raise BodyTooLarge(f"A body may have at most {limit} bytes.", field="body")
    return bytes(data)


def _unpack(data: bytes, limit: int) -> bytes:
    # One byte more than allowed is enough to know: a small body that unpacks to gigabytes costs 2 MB.
    unpacker = zlib.decompressobj(zlib.MAX_WBITS | 16)
    try:
        plain = unpacker.decompress(data, limit + 1)
    except zlib.error as error:
        raise BatchError("The body is not gzip.", field="body") from error
    if len(plain) > limit:
        raise BodyTooLarge(f"A body may unpack to at most {limit} bytes.", field="body")
    if not unpacker.eof or unpacker.unused_data:
        raise BatchError("The gzip body is cut off, or more follows it.", field="body")
    return plain
