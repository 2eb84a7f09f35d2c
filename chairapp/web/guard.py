"""Whom a node answers, what every answer of a node carries, and which calls it does not take."""

from starlette.datastructures import MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from chairapp.node.settings import is_loopback

__all__ = ["Guard"]

# NiceGUI writes its page as inline script and style and evaluates its event handlers; the tablet page has a stricter
# policy of its own. Nothing may come from, or be sent to, another host.
_POLICY = "; ".join(
    (
        "default-src 'self'",
        "script-src 'self' 'unsafe-inline' 'unsafe-eval'",
        "style-src 'self' 'unsafe-inline'",
        "img-src 'self' data: blob:",
        "font-src 'self' data:",
        "connect-src 'self'",
        "worker-src 'self'",
        "object-src 'none'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
_HEADERS = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    # With "no-referrer" a browser says "Origin: null" of a form of our own page, and the guard would refuse it.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


class Guard:
    """Pure ASGI, so that streams and sockets pass through unbuffered.

    A node listens on this machine only and asks nobody who they are, so a call under a foreign host name is refused: it
    is another site's page whose name was made to point here. Headers a route set itself are left alone (the judge's
    worker has a policy of its own).
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
        elif (
            _count(scope, b"host") > 1
            or not is_loopback(_host(scope))
            or (scope["type"] == "websocket" and _is_foreign(scope))
        ):
            await _refuse(scope, receive, send)
        elif scope["type"] == "http" and _writes(scope) and _is_from_another_site(scope):
            error = {"field": "origin", "why": "a page of another site asks", "do": "ask from this node's own page"}
            await JSONResponse({"error": error}, 403)(scope, receive, send)
        else:
            await self._app(scope, receive, _with_headers(send, scope["path"]))


def _host(scope: Scope) -> str:
    value = _header(scope, b"host")
    name, _, port = value.rpartition(":")
    return name if port.isdecimal() else value


def _is_foreign(scope: Scope) -> bool:
    """Whether a socket is opened by another site's page: browsers do not stop that by themselves."""
    origin = _header(scope, b"origin")
    return bool(origin) and origin.partition("://")[2] != _header(scope, b"host")


def _writes(scope: Scope) -> bool:
    """Whether a session could be abused: a call with a token of a device is made with none."""
    return scope["method"] not in ("GET", "HEAD", "OPTIONS") and not _header(scope, b"authorization")


def _is_from_another_site(scope: Scope) -> bool:
    return _is_foreign(scope) or _header(scope, b"sec-fetch-site") in ("cross-site", "same-site")


def _count(scope: Scope, wanted: bytes) -> int:
    return sum(name == wanted for name, _ in scope["headers"])


def _header(scope: Scope, wanted: bytes) -> str:
    return next((value for name, value in scope["headers"] if name == wanted), b"").decode("latin-1")


async def _refuse(scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    error = {"field": "Host", "why": "this node answers on this machine only", "do": "open it at 127.0.0.1"}
    await JSONResponse({"error": error}, 421)(scope, receive, send)


def _with_headers(send: Send, path: str) -> Send:
    allowed = f"camera={'(self)' if path == '/chair' else '()'}, microphone=(), geolocation=()"

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("Permissions-Policy", allowed)
        await send(message)

    return sending
