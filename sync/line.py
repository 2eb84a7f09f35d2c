"""The wire of the hop out: calls over HTTP, answers checked at the border, failures as one sentence."""

import asyncio
import gzip
import json

import httpx
from pydantic import BaseModel, ValidationError

from sync.border import PROTOCOL
from sync.errors import HopError, HopRefused
from sync.hop import Call

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
        try:
            answer = await self._client.request(call.method, url, params=call.params, headers=headers, content=body)
        except httpx.HTTPError as error:
            raise HopError("The clinic server cannot be reached.") from error
        if answer.status_code not in (200, 204):
            raise HopRefused(_why_refused(answer), answer.status_code)
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


def _why_refused(answer: httpx.Response) -> str:
    try:
        why = str(answer.json()["error"]["why"])
    except (json.JSONDecodeError, UnicodeDecodeError, KeyError, TypeError):
        why = ""
    return f"The clinic server answered {answer.status_code}. {why}".strip()
