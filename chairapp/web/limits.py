"""How large a request may be and how long it may take to arrive, before anything else reads it."""

import asyncio
import time

from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["BODY_SECONDS", "HOP_MAX", "PAGE_MAX", "Limits"]

HOP_MAX = 4 * 1024 * 1024
"""Bytes under /sync, whose routes have tighter limits of their own and word them better."""
PAGE_MAX = 1024 * 1024
"""Bytes everywhere else: forms, and what an open page sends."""
BODY_SECONDS = 60.0
"""From the first byte of a body to the last."""
_HEADERS_MAX = 32 * 1024


class Limits:
    """Pure ASGI, so that bodies pass through unbuffered. A limit that is met is answered, not only cut off."""

    def __init__(self, app: ASGIApp, seconds: float = BODY_SECONDS) -> None:
        self._app = app
        self._seconds = seconds

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        most = HOP_MAX if scope["path"].startswith("/sync/") else PAGE_MAX
        if refusal := _refusal(scope["headers"], most):
            await refusal(scope, receive, send)
        else:
            await self._app(scope, _Body(receive, most, self._seconds), send)


class _Body:
    """Hands a body on as it comes; the application's own handler of HTTPException answers what is raised here."""

    def __init__(self, receive: Receive, most: int, seconds: float) -> None:
        self._receive = receive
        self._left = most
        self._seconds = seconds
        self._until: float | None = None
        self._whole = False

    async def __call__(self) -> Message:
        # After the body this waits for the end of the connection, which may be far away.
        if self._whole:
            return await self._receive()
        message = await self._in_time()
        self._left -= len(message.get("body", b""))
        if self._left < 0:
            raise HTTPException(413, "The request is too large.", {"Connection": "close"})
        self._whole = not message.get("more_body", False)
        return message

    async def _in_time(self) -> Message:
        if self._until is None:
            self._until = time.monotonic() + self._seconds
        try:
            return await asyncio.wait_for(self._receive(), self._until - time.monotonic())
        except TimeoutError:
            raise HTTPException(408, "The request took too long to arrive.", {"Connection": "close"}) from None


def _refusal(headers: list[tuple[bytes, bytes]], most: int) -> JSONResponse | None:
    """For what can be told from the headers alone."""
    if sum(len(name) + len(value) for name, value in headers) > _HEADERS_MAX:
        return _answer(
            431, "headers", "the headers are too large", "remove this site's cookies and load the page again"
        )
    lengths = [value for name, value in headers if name == b"content-length"]
    chunked = any(name == b"transfer-encoding" for name, _ in headers)
    if len(lengths) > 1 or (lengths and chunked) or any(not length.isdigit() for length in lengths):
        # A proxy and this node could each see another end of the body, and another request behind it.
        return _answer(400, "Content-Length", "two statements of one length", "send one Content-Length, or chunks")
    if lengths and int(lengths[0]) > most:
        return _answer(413, "body", f"the request has more than {most} bytes", "send less at once")
    return None


def _answer(status: int, field: str, why: str, do: str) -> JSONResponse:
    return JSONResponse({"error": {"field": field, "why": why, "do": do}}, status, {"Connection": "close"})
