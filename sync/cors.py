"""Calls from pages of other nodes of the same clinic: a tablet may hand in where its page did not come from.

Origins are those of paired nodes and nothing else, never `*`; cookies are never allowed, for none are used. A page of
any other origin is refused before a route is asked.
"""

from collections.abc import Callable, Collection

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from sync.border import PROTOCOL, error_answer
from sync.errors import NotAllowed

__all__ = ["Cors", "Origins"]

Origins = Callable[[], Collection[str]]
"""The origins that may ask, such as "https://chair-1.clinic.example"; asked at every call, so it may change."""

_METHODS = "GET, HEAD, POST, PUT"
_SENT = "Authorization, Content-Encoding, Content-Type, If-None-Match, Threemark-Protocol"
_READ = "ETag, Threemark-Protocol, Retry-After"
_MAX_AGE = "600"


class Cors:
    """Pure ASGI around an application; answers what is under /sync/ and lets everything else pass."""

    def __init__(self, app: ASGIApp, origins: Origins) -> None:
        self._app = app
        self._origins = origins

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or not scope["path"].startswith("/sync/"):
            return await self._app(scope, receive, send)
        headers = Headers(scope=scope)
        origin = headers.get("origin")
        # Behind a proxy that ends TLS the scheme here is not the one the page was loaded by; the host is.
        if origin is None or origin.partition("://")[2] == headers.get("host"):
            return await self._app(scope, receive, send)
        if origin not in self._origins():
            return await _refused()(scope, receive, send)
        if scope["method"] == "OPTIONS" and "access-control-request-method" in headers:
            return await _preflight(origin, headers)(scope, receive, send)
        return await self._app(scope, receive, _with_origin(send, origin))


def _refused() -> Response:
    """Without a word of ours about origins a browser keeps even this from the page that asked."""
    answer = error_answer(NotAllowed("A page of another site asked.", field="Origin"))
    answer.headers["Threemark-Protocol"] = PROTOCOL
    answer.headers["Vary"] = "Origin"
    return answer


def _preflight(origin: str, headers: Headers) -> Response:
    allowed = {
        "Access-Control-Allow-Origin": origin,
        "Access-Control-Allow-Methods": _METHODS,
        "Access-Control-Allow-Headers": _SENT,
        "Access-Control-Max-Age": _MAX_AGE,
        "Threemark-Protocol": PROTOCOL,
        "Vary": "Origin",
    }
    if headers.get("access-control-request-private-network") == "true":
        # A browser asks this before a page of one address calls a computer of the clinic's own network.
        allowed["Access-Control-Allow-Private-Network"] = "true"
    return Response(status_code=204, headers=allowed)


def _with_origin(send: Send, origin: str) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers["Access-Control-Allow-Origin"] = origin
            headers["Access-Control-Expose-Headers"] = _READ
            headers.add_vary_header("Origin")
        await send(message)

    return sending
