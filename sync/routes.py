"""The hop in: a plain APIRouter over a store.

What `stored` names is on disk. Entries that are refused go to the drawer and never block those behind. Every call needs
a device's token; the store's calls, which block, run in a worker thread.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from fastapi.concurrency import run_in_threadpool
from pydantic import ValidationError

from sync import seal
from sync.access import Device, Devices, require
from sync.blobs import BLOB_MAX, FolderBlobs
from sync.border import PROTOCOL, HopRoute, read_body, read_json
from sync.clock import far_ahead, wall_ms
from sync.entry import Entry, Refusal, check_envelope
from sync.errors import BatchError
from sync.models import Answer, Batch, Entries, ErrorAnswer, HeadModel, Health, RefusedModel, VisitModel, Visits
from sync.store import BATCH, Head, Store, Touched

__all__ = ["FINISHED", "Check", "Intake", "State", "routes"]

Check = Callable[[Entry], Refusal | None]
State = Callable[[list[Entry]], str]

FINISHED = "finished"

_CARDS_MAX = 4096
_REMOVED = Refusal("device", "this device was removed from the clinic's devices", "Ask the practice manager.")
_NOT_YOURS = Refusal("device", "a tablet hands in entries of its own only", "Pair this tablet again.")
_WRONG_CLOCK = Refusal("clock", "the clock is more than 366 days ahead", "Set the date of the device that made it.")

After = Annotated[str | None, Query(max_length=100, description="The cursor of the page before.")]
Limit = Annotated[int, Query(ge=1, le=BATCH)]


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
    errors: dict[int | str, dict[str, Any]] = {"4XX": {"model": ErrorAnswer}, "5XX": {"model": ErrorAnswer}}
    router = APIRouter(prefix="/sync", tags=["sync"], route_class=HopRoute, responses=errors)
    _add_entries(router, store, devices, Intake(store, check, now))
    _add_visits(router, devices, Cards(store, state))
    _add_health(router, store, devices)
    if blobs:
        _add_blobs(router, blobs, devices)
    return router


class Intake:
    """Takes a batch in: what is right is stored, the rest goes to the drawer."""

    def __init__(self, store: Store, check: Check | None, now: Callable[[], int]) -> None:
        self._store = store
        self._check = check
        self._now = now

    def take(self, batch: Batch, device: Device) -> Answer:
        """Blocks until all of it is on disk. Raises StoreError with nothing acknowledged."""
        now = self._now()
        looked_at = [(raw, self._why_not(raw, device, now)) for raw in batch.entries]
        added = self._store.add([raw for raw, refusal in looked_at if refusal is None])
        refused = [(raw, refusal) for raw, refusal in looked_at if refusal is not None]
        if batch.head:
            self._store.keep(f"head of {device.id}", batch.head.model_dump())
        return self._answer(added.stored, [*refused, *added.refused], device)

    def _why_not(self, raw: Any, device: Device, now: int) -> Refusal | None:
        wrong = check_envelope(raw)
        if wrong:
            return wrong
        if device.revoked:
            return _REMOVED
        if device.kind == "tablet" and raw["device"] != device.id:
            return _NOT_YOURS
        if far_ahead(raw["clock"][0], now):
            return _WRONG_CLOCK
        return self._check(raw) if self._check else None

    def _answer(self, stored: list[str], refused: list[tuple[Any, Refusal]], device: Device) -> Answer:
        told: list[RefusedModel] = []
        settled: list[str] = []
        for raw, refusal in refused:
            entry_id = _id_of(raw)
            if self._store.refuse(raw, refusal, device.id).settled and entry_id is not None:
                settled.append(entry_id)
            else:
                told.append(RefusedModel(id=entry_id, field=refusal.field, why=refusal.why, do=refusal.do))
        head = _head(self._store)
        return Answer(stored=stored, refused=told, settled=settled, head=head, epoch=head.epoch)


class Cards:
    """What the list of visits says of each; kept until the visit gets another entry."""

    def __init__(self, store: Store, state: State | None) -> None:
        self._store = store
        self._state = state
        self._guard = threading.Lock()
        self._known: OrderedDict[str, tuple[int, VisitModel]] = OrderedDict()

    def page(self, after: str | None, limit: int) -> Visits:
        # The head first: it may be older than the page, never newer; nobody must believe to have more than was sent.
        head = _head(self._store)
        page = self._store.visits(after, limit)
        cards = [self._card(visit) for visit in page.visits]
        return Visits(visits=cards, cursor=page.cursor, more=page.more, head=head)

    def _card(self, touched: Touched) -> VisitModel:
        with self._guard:
            position, card = self._known.get(touched.visit, (0, None))
        if card is None or position != touched.position:
            card = self._draw(touched.visit)
            self._remember(touched, card)
        return card

    def _draw(self, visit: str) -> VisitModel:
        entries = self._store.visit(visit)
        state = self._state(entries) if self._state else "open"
        return VisitModel(visit=visit, entries=len(entries), digest=seal.digest(entries), state=state)

    def _remember(self, touched: Touched, card: VisitModel) -> None:
        with self._guard:
            self._known[touched.visit] = (touched.position, card)
            if len(self._known) > _CARDS_MAX:
                self._known.popitem(last=False)


def _add_entries(router: APIRouter, store: Store, devices: Devices, intake: Intake) -> None:
    sender, reader = Depends(require(devices, revoked=True)), Depends(require(devices))

    @router.post("/entries", openapi_extra=_body(Batch), summary="Hand entries in")
    async def hand_in(request: Request, device: Annotated[Device, sender]) -> Answer:
        batch = _as_batch(await read_json(request))
        return await run_in_threadpool(intake.take, batch, device)

    @router.get("/entries", dependencies=[reader], summary="Fetch entries in the order they came")
    def fetch(
        visit: Annotated[str, Query(max_length=36, description="Of this visit only.")] = "",
        after: After = None,
        limit: Limit = BATCH,
    ) -> Entries:
        head = _head(store)
        page = store.since(after, limit, visit=visit)
        return Entries(entries=page.entries, cursor=page.cursor, more=page.more, head=head)


def _add_visits(router: APIRouter, devices: Devices, cards: Cards) -> None:
    @router.get("/visits", dependencies=[Depends(require(devices))], summary="Visits touched since")
    def visits(after: After = None, limit: Limit = 100) -> Visits:
        return cards.page(after, limit)


def _add_health(router: APIRouter, store: Store, devices: Devices) -> None:
    @router.get("/health", summary="How this store is")
    def health(device: Annotated[Device, Depends(require(devices))]) -> Health:
        damaged = len(store.damaged)
        return Health(
            status="damaged" if damaged else "ok",
            protocol=int(PROTOCOL),
            head=_head(store),
            damaged=damaged,
            refused=store.refused_count(),
            device=device.id,
        )


def _add_blobs(router: APIRouter, blobs: FolderBlobs, devices: Devices) -> None:
    reader = Depends(require(devices))
    name = Path(description="SHA-256 of the bytes, 64 hex digits", max_length=64)

    @router.put("/blobs/{sha256}", dependencies=[reader], status_code=204, openapi_extra=_bytes_body())
    async def put(request: Request, sha256: Annotated[str, name]) -> None:
        data = await read_body(request, BLOB_MAX)
        await run_in_threadpool(blobs.put, sha256, data)

    @router.get("/blobs/{sha256}", dependencies=[reader], response_class=Response)
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


def _id_of(raw: Any) -> str | None:
    entry_id = raw.get("id") if isinstance(raw, dict) else None
    return entry_id[:80] if isinstance(entry_id, str) and entry_id.isascii() else None


def _head(store: Store) -> HeadModel:
    head: Head = store.head()
    return HeadModel(epoch=head.epoch, position=head.position, hash=head.hash)


def _body(model: type[Batch]) -> dict[str, Any]:
    # The body is read by hand, to stop at its limits and to unpack it; so the schema is named by hand too.
    schema = model.model_json_schema(ref_template="#/components/schemas/{model}")
    schema.pop("$defs", None)
    return {"requestBody": {"required": True, "content": {"application/json": {"schema": schema}}}}


def _bytes_body() -> dict[str, Any]:
    schema = {"type": "string", "format": "binary"}
    return {"requestBody": {"required": True, "content": {"application/octet-stream": {"schema": schema}}}}
