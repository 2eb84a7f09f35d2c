"""The shapes of the API, for /openapi.json and for what is checked at the border."""

import re
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from sync.entry import NUMBER_MAX
from sync.errors import CursorError
from sync.store import BATCH, Head

__all__ = [
    "ERRORS",
    "Answer",
    "Batch",
    "Entries",
    "ErrorAnswer",
    "HeadModel",
    "Health",
    "RefusedModel",
    "VisitModel",
    "Visits",
]

_HEAD = re.compile(r"(.{1,64})-([0-9]{1,15})-([0-9a-f]{64})", re.ASCII)


def _whole(value: Any) -> Any:
    # 1.0 and 1 are the same number in JSON.
    return int(value) if isinstance(value, float) and value.is_integer() else value


Whole = Annotated[int, Field(ge=0, le=NUMBER_MAX), BeforeValidator(_whole)]


class HeadModel(BaseModel):
    """Where a store's chain stands."""

    # "5" is no position: what is not as the schema says is refused, never guessed at.
    model_config = ConfigDict(strict=True)

    epoch: str = Field(max_length=64)
    position: Whole
    hash: str = Field(max_length=64)

    def as_text(self) -> str:
        """One text, to ask with whether a store still holds this head."""
        return f"{self.epoch}-{self.position}-{self.hash}"

    @classmethod
    def of(cls, head: Head) -> "HeadModel":
        return cls(epoch=head.epoch, position=head.position, hash=head.hash)

    @classmethod
    def of_text(cls, text: str) -> "HeadModel":
        """Raises CursorError when the text is no head."""
        found = _HEAD.fullmatch(text)
        if not found:
            raise CursorError("This is not a head.", field="known")
        return cls(epoch=found[1], position=int(found[2]), hash=found[3])


class Batch(BaseModel):
    """Entries to keep, each checked by itself.

    `head` is the sender's own, kept for comparison; `known` the one it last had from the other side; `waiting` how many
    entries at most it has yet to hand in after these.
    """

    model_config = ConfigDict(extra="ignore")

    entries: list[Any] = Field(max_length=BATCH)
    head: HeadModel | None = None
    known: HeadModel | None = None
    waiting: int | None = Field(default=None, ge=0)


class RefusedModel(BaseModel):
    id: str | None
    field: str
    why: str
    do: str


class Answer(BaseModel):
    """`stored` are on disk. `refused` are in the drawer; `settled` of them need not be offered again.

    `holds`: whether the head the sender knew is still part of this chain. `yours`: the sender's head as last kept here.
    """

    stored: list[str]
    refused: list[RefusedModel]
    settled: list[str]
    head: HeadModel
    epoch: str
    holds: bool = True
    yours: HeadModel | None = None


class VisitModel(BaseModel):
    """A visit: how many entries, the digest over them in (clock, id) order, and its state in the application's word.

    `backed_up`: all of them, and the bytes of attachments, are in the clinic's last verified backup, so others may let
    go of them.
    """

    visit: str
    entries: int
    digest: str
    state: str
    backed_up: bool = False


class Visits(BaseModel):
    """`holds`: whether the head that was asked about is still part of this chain."""

    visits: list[VisitModel]
    cursor: str
    more: bool
    head: HeadModel
    holds: bool = True


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


ERRORS: dict[int | str, dict[str, Any]] = {"4XX": {"model": ErrorAnswer}, "5XX": {"model": ErrorAnswer}}
"""For `responses=` of a router of the API: what any call may be answered besides."""
