"""The wire of the hop out: calls over HTTP, answers checked at the border, failures as one sentence."""

import asyncio
import gzip
import json

import httpx
from pydantic import BaseModel, ValidationError

from sync.blobs import BLOB_MAX
from sync.border import PROTOCOL
from sync.errors import HopError, HopRefused
from sync.hop import Blob, Call

__all__ = ["Line"]


class Line:
    """The calls to the other side. Every failure becomes a HopError with a sentence for the lamp."""

    def __init__(self, base_url: str, token: str, client: httpx.AsyncClient | None, compress: bool) -> None:
        self._base_url = base_url.rstrip("/")
        self._headers = {"Authorization": f"Bearer {token}", "Threemark-Protocol": PROTOCOL}
        self._own = client is None
        # No proxy from the environment: nobody but the clinic's own server is ever asked.
        self._client = client or httpx.AsyncClient(timeout=httpx.Timeout(30, connect=5), trust_env=False)
        self._compress = compress

    async def ask(self, call: Call) -> BaseModel:
        """The answer, in the shape the call names. Raises HopError."""
        body, headers = await self._packed(call)
        url = self._base_url + call.path
        asked = self._client.build_request(call.method, url, params=call.params, headers=headers, content=body)
        try:
            answer = await self._client.send(asked, stream=call.model is Blob)
            if call.model is Blob:
                return await _bytes_of(answer)
        except httpx.HTTPError as error:
            raise HopError("The clinic server cannot be reached.") from error
        _check_status(answer)
        try:
            return call.model.model_validate_json(answer.content or b"{}")
        except ValidationError as error:
            raise HopError("The other side does not answer as a clinic server does.") from error

    async def close(self) -> None:
        if self._own:
            await self._client.aclose()

    async def _packed(self, call: Call) -> tuple[bytes | None, dict[str, str]]:
        if not call.body:
            return None, self._headers
        if call.method == "PUT":
            # Attachments are pictures: packing them again gains nothing.
            return call.body, {**self._headers, "Content-Type": "application/octet-stream"}
        headers = {**self._headers, "Content-Type": "application/json"}
        if not self._compress:
            return call.body, headers
        headers["Content-Encoding"] = "gzip"
        return await asyncio.to_thread(gzip.compress, call.body, 6), headers


async def _bytes_of(answer: httpx.Response) -> Blob:
    """What came, read no further than an attachment may be long: whoever answers more is not worth the memory."""
    try:
        if answer.status_code != 200:
            await answer.aread()
            _check_status(answer)
        data = bytearray()
        async for part in answer.aiter_bytes():
            data += part
            if len(data) > BLOB_MAX:
                break
        return Blob(data=bytes(data))
    finally:
        await answer.aclose()


def _check_status(answer: httpx.Response) -> None:
    if answer.status_code not in (200, 204):
        raise HopRefused(_why_refused(answer), answer.status_code)


def _why_refused(answer: httpx.Response) -> str:
    try:
        why = str(answer.json()["error"]["why"])
    except (json.JSONDecodeError, UnicodeDecodeError, KeyError, TypeError):
        why = ""
    return f"The clinic server answered {answer.status_code}. {why}".strip()
