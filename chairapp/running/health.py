"""What there is to look after, told to machines at `/health` and to the manager on a card."""

from collections.abc import Callable, Sequence
from typing import Any

from fastapi import APIRouter
from fastapi.responses import JSONResponse
from markupsafe import Markup

from chairapp.elements.frame import chip
from chairapp.running.concerns import Concern

__all__ = ["card", "health_route", "told"]


def health_route(role: str, look: Callable[[], Sequence[Concern]]) -> APIRouter:
    """GET /health: 200 where nothing serious is there, else 503. Fixed words only: anybody on the network may ask."""
    router = APIRouter()

    @router.get("/health", include_in_schema=False)
    def health() -> JSONResponse:
        found = look()
        serious = any(concern.serious for concern in found)
        return JSONResponse(told(role, found), 503 if serious else 200, {"Cache-Control": "no-store"})

    return router


def told(role: str, found: Sequence[Concern]) -> dict[str, Any]:
    """{"status": "ok" | "look" | "serious", "role", "concerns": [{"what", "serious"}]}"""
    status = "ok" if not found else "serious" if any(concern.serious for concern in found) else "look"
    return {
        "status": status,
        "role": role,
        "concerns": [{"what": concern.what, "serious": concern.serious} for concern in found],
    }


def card(found: Sequence[Concern]) -> Markup:
    """For the manager: one line each, with what to do. Nothing where all is well."""
    if not found:
        return Markup("")
    lines = Markup("").join(_line(concern) for concern in found)
    return Markup(
        '<section class="tm-cares" aria-labelledby="cares"><h2 id="cares">To look after</h2><ul class="tm-list">{}</ul>'
        "</section>"
    ).format(lines)


def _line(concern: Concern) -> Markup:
    mark = chip("off", "now") if concern.serious else chip("unsure", "soon")
    return Markup('<li>{}<p><strong>{}</strong> <span class="tm-soft">{}</span></p></li>').format(
        mark, concern.told, concern.do
    )
