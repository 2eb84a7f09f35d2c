"""The shapes of the API, for /openapi.json and for what is checked at the border."""

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from sync.store import BATCH

__all__ = ["Answer", "Batch", "Entries", "ErrorAnswer", "HeadModel", "Health", "RefusedModel", "VisitModel", "Visits"]


class HeadModel(BaseModel):
    """Where a store's chain stands."""

    epoch: str = Field(max_length=64)
    position: int = Field(ge=0)
    hash: str = Field(max_length=64)


class Batch(BaseModel):
    """Entries to keep, each checked by itself; `head` is the sender's own, kept for comparison."""

    model_config = ConfigDict(extra="ignore")

    entries: list[Any] = Field(max_length=BATCH)
    head: HeadModel | None = None


class RefusedModel(BaseModel):
    id: str | None
    field: str
    why: str
    do: str


class Answer(BaseModel):
    """`stored` are on disk. `refused` are in the drawer; `settled` of them need not be offered again."""

    stored: list[str]
    refused: list[RefusedModel]
    settled: list[str]
    head: HeadModel
    epoch: str


class VisitModel(BaseModel):
    """A visit: how many entries, the digest over them in (clock, id) order, and its state in the application's word."""

    visit: str
    entries: int
    digest: str
    state: str


class Visits(BaseModel):
    visits: list[VisitModel]
    cursor: str
    more: bool
    head: HeadModel


class Entries(BaseModel):
    entries: list[dict[str, Any]]
    cursor: str
    more: bool
    head: HeadModel


class Health(BaseModel):
    """`damaged` counts lines of the store that can no longer be read, `refused` what waits in the drawer."""

    status: Literal["ok", "damaged"]
    protocol: int
    head: HeadModel
    damaged: int
    refused: int
    device: str


class ErrorBody(BaseModel):
    field: str
    why: str
    do: str


class ErrorAnswer(BaseModel):
    error: ErrorBody
