"""The calls of the hop out: bodies within their limits, answers checked at the border, failures as one sentence."""

import asyncio
import gzip
import json
from collections.abc import Iterable
from typing import Any, NamedTuple, TypeVar

import httpx
from pydantic import BaseModel, ValidationError

from sync.border import BODY_MAX, PROTOCOL
from sync.entry import Entry, canonical
from sync.errors import HopError
from sync.models import HeadModel
from sync.store import Head

__all__ = ["Batch", "Line", "as_model", "batches"]

# What is left of a body's limit is for the brackets and the head.
_ENTRIES_BYTES = BODY_MAX - 64 * 1024

Model = TypeVar("Model", bound=BaseModel)


class Line:
    """The calls to the other side. Every failure becomes a HopError with a sentence for the lamp."""

    def __init__(self, base_url: str, token: str, client: httpx.AsyncClient | None, compress: bool) -> None:
        self._base_url = base_url.rstrip("/")
        self._headers = {"Authorization": f"Bearer {token}", "Threemark-Protocol": PROTOCOL}
        self._own = client is None
        # No proxy from the environment: nobody but the clinic's own server is ever asked.
        self._client = client or httpx.AsyncClient(timeout=httpx.Timeout(30, connect=5), trust_env=False)
        self._compress = compress

    async def post(self, path: str, body: bytes, model: type[Model]) -> Model:
        headers = {**self._headers, "Content-Type": "application/json"}
        if self._compress:
            body = await asyncio.to_thread(gzip.compress, body, 6)
            headers["Content-Encoding"] = "gzip"
        return await self._ask("POST", path, model, content=body, headers=headers)

    async def get(self, path: str, model: type[Model], **params: str | None) -> Model:
        given = {name: value for name, value in params.items() if value is not None}
        return await self._ask("GET", path, model, params=given, headers=self._headers)

    async def close(self) -> None:
        if self._own:
            await self._client.aclose()

    async def _ask(self, method: str, path: str, model: type[Model], **how: Any) -> Model:
        try:
            answer = await self._client.request(method, self._base_url + path, **how)
        except httpx.HTTPError as error:
            raise HopError("The clinic server cannot be reached.") from error
        if answer.status_code != 200:
            raise HopError(_why_refused(answer))
        try:
            return model.model_validate_json(answer.content)
        except ValidationError as error:
            raise HopError("The other side does not answer as a clinic server does.") from error


class Batch(NamedTuple):
    """A body of POST /sync/entries and the ids of the entries in it."""

    body: bytes
    ids: set[str]


def batches(entries: Iterable[Entry], head: HeadModel) -> list[Batch]:
    """Bodies within the limit of a call, over all the entries in their order."""
    made: list[Batch] = []
    parts: list[bytes] = []
    ids: set[str] = set()
    size = 0
    for entry in entries:
        part = canonical(entry)
        size += len(part) + 1
        if size > _ENTRIES_BYTES:
            made.append(Batch(_body(parts, head), ids))
            parts, ids, size = [], set(), len(part) + 1
        parts.append(part)
        ids.add(entry["id"])
    return [*made, Batch(_body(parts, head), ids)] if parts else made


def as_model(head: Head) -> HeadModel:
    return HeadModel(epoch=head.epoch, position=head.position, hash=head.hash)


def _body(parts: list[bytes], head: HeadModel) -> bytes:
    return b'{"entries":[%b],"head":%b}' % (b",".join(parts), head.model_dump_json().encode())


def _why_refused(answer: httpx.Response) -> str:
    try:
        why = str(answer.json()["error"]["why"])
    except (json.JSONDecodeError, UnicodeDecodeError, KeyError, TypeError):
        why = ""
    return f"The clinic server answered {answer.status_code}. {why}".strip()
