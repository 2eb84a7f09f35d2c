"""The hop in: a plain APIRouter over a store.

What `stored` names is on disk. Entries that are refused go to the drawer and never block those behind. Every call needs
a device's token; the store's calls, which block, run in a worker thread.
"""

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from fastapi.concurrency import run_in_threadpool
from pydantic import ValidationError

from sync.access import Device, Devices, require
from sync.blobs import BLOB_MAX, FolderBlobs
from sync.border import PROTOCOL, HopRoute, read_body, read_json
from sync.clock import wall_ms
from sync.desk import FINISHED, Check, Desk, State
from sync.errors import BatchError
from sync.models import ERRORS, Answer, Batch, Entries, HeadModel, Health, VisitModel, Visits
from sync.store import BATCH, Store

__all__ = ["FINISHED", "Check", "State", "routes"]

_CURSOR, _HEAD = "^[0-9A-Za-z_-]{1,64}-[0-9]{1,18}$", "^[0-9A-Za-z_-]{1,64}-[0-9]{1,15}-[0-9a-f]{64}$"
After = Annotated[str | None, Query(pattern=_CURSOR, description="The cursor of the page before.")]
Known = Annotated[str | None, Query(pattern=_HEAD, description="EPOCH-POSITION-HASH: is this head still held?")]
Limit = Annotated[int, Query(ge=1, le=BATCH)]

_ID = "[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}"
_BYTES = {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}}


def routes(
    store: Store,
    devices: Devices,
    check: Check | None = None,
    *,
    blobs: FolderBlobs | None = None,
    state: State | None = None,
    now: Callable[[], int] = wall_ms,
) -> APIRouter:
    """POST/GET /sync/entries, GET /sync/visits, GET /sync/health, PUT/GET /sync/blobs/SHA256; include it as it is.

    `check` refuses entries the application cannot take; `state` gives a visit's state from its entries for the list of
    visits ("finished" ones are not pulled by others). Further calls of the API: `APIRouter(route_class=HopRoute)` with
    `Depends(require(devices))`.
    """
    router = APIRouter(prefix="/sync", tags=["sync"], route_class=HopRoute, responses=ERRORS)
    desk = Desk(store, check, state, now, blobs)
    _add_entries(router, desk, devices)
    _add_visits(router, desk, devices)
    _add_health(router, store, devices)
    if blobs:
        _add_blobs(router, blobs, devices)
    return router


def _add_entries(router: APIRouter, desk: Desk, devices: Devices) -> None:
    sender, reader = Depends(require(devices, revoked=True)), Depends(require(devices))

    @router.post("/entries", openapi_extra=_body(Batch), summary="Hand entries in")
    async def hand_in(request: Request, device: Annotated[Device, sender]) -> Answer:
        batch = _as_batch(await read_json(request))
        return await run_in_threadpool(desk.take, batch, device)

    @router.get("/entries", dependencies=[reader], summary="Fetch entries in the order they came")
    def fetch(
        visit: Annotated[str, Query(pattern=f"^({_ID})?$", description="Of this visit only.")] = "",
        after: After = None,
        limit: Limit = BATCH,
    ) -> Entries:
        return desk.entries(visit, after, limit)


def _add_visits(router: APIRouter, desk: Desk, devices: Devices) -> None:
    @router.get("/visits", dependencies=[Depends(require(devices))], summary="Visits touched since")
    def visits(after: After = None, limit: Limit = 100, known: Known = None) -> Visits:
        return desk.visits(after, limit, known)

    @router.get("/visits/{visit}", dependencies=[Depends(require(devices))], summary="One visit of that list")
    def one_visit(visit: Annotated[str, Path(description="Its id.", pattern=f"^{_ID}$")]) -> VisitModel:
        return desk.visit(visit)


def _add_health(router: APIRouter, store: Store, devices: Devices) -> None:
    @router.get("/health", summary="How this store is")
    def health(device: Annotated[Device, Depends(require(devices))]) -> Health:
        damaged = len(store.damaged)
        return Health(
            status="damaged" if damaged else "ok",
            protocol=int(PROTOCOL),
            head=HeadModel.of(store.head()),
            damaged=damaged,
            refused=store.refused_count(),
            device=device.id,
        )


def _add_blobs(router: APIRouter, blobs: FolderBlobs, devices: Devices) -> None:
    # A removed tablet hands in its pictures with the entries that name them.
    sender, reader = Depends(require(devices, revoked=True)), Depends(require(devices))
    body = {"requestBody": {"required": True, "content": _BYTES}}
    name = Path(description="SHA-256 of the bytes", pattern="^[0-9a-f]{64}$")

    @router.put("/blobs/{sha256}", dependencies=[sender], status_code=204, openapi_extra=body)
    async def put(request: Request, sha256: Annotated[str, name]) -> None:
        data = await read_body(request, BLOB_MAX)
        await run_in_threadpool(blobs.put, sha256, data)

    @router.get("/blobs/{sha256}", dependencies=[reader], response_class=Response, responses={200: {"content": _BYTES}})
    def get(sha256: Annotated[str, name]) -> Response:
        # Never shown in place: a blob is a stranger's bytes under our address.
        headers = {"X-Content-Type-Options": "nosniff", "Content-Disposition": "attachment"}
        return Response(blobs.get(sha256), media_type="application/octet-stream", headers=headers)


def _as_batch(body: Any) -> Batch:
    try:
        return Batch.model_validate(body)
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(part) for part in first["loc"]) or "body"
        raise BatchError(f"{field}: {first['msg']}.", field=field) from error


def _body(model: type[Batch]) -> dict[str, Any]:
    # The body is read by hand, to stop at its limits and to unpack it; so the schema is named by hand too.
    schema = model.model_json_schema(ref_template="#/components/schemas/{model}")
    schema.pop("$defs", None)
    return {"requestBody": {"required": True, "content": {"application/json": {"schema": schema}}}}
