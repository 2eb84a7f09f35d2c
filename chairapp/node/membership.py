"""How a chair node belongs to its clinic server: its pairing, the documents it pulls, the tablets it pairs for it."""

import asyncio
import json
from collections.abc import Awaitable, Callable
from typing import Any

import httpx

from chairapp.clinic import ClinicDocument, ClinicError, clinic_document
from chairapp.node.documents import Documents
from chairapp.node.errors import ClinicAway
from chairapp.node.folder import Folder, write_whole
from chairapp.node.log import log
from chairapp.people.pairing import PairingRefused, PairingRequest
from chairapp.sequence import digest as digest_of

__all__ = ["Membership"]

_RETRY_FIRST = 0.5
_RETRY_MOST = 5.0
_TIMEOUT = httpx.Timeout(8.0, connect=2.0)


class Membership:
    """`device` and `token` are None until the clinic server was reached once; then they are kept for good."""

    def __init__(
        self,
        folder: Folder,
        clinic_url: str,
        documents: Documents,
        name: str,
        wanted: Callable[[], set[str]],
        address: str,
        take_pins: Callable[[dict[str, str]], None],
        code: str,
        take_removed: Callable[[dict[str, bool]], None],
    ) -> None:
        self._file = folder.keys / "clinic.json"
        self._documents = documents
        self._name = name
        self._code = code
        self._take_removed = take_removed
        self._wanted = wanted
        self._address = address
        self._told_address = False
        self._take_pins = take_pins
        self._tag: str | None = None
        self._pins_tag: str | None = None
        self._joining = asyncio.Lock()
        self._client = httpx.AsyncClient(base_url=clinic_url, timeout=_TIMEOUT, trust_env=False)
        kept = json.loads(self._file.read_bytes()) if self._file.exists() else {}
        self.device: str | None = kept.get("device")
        self.token: str | None = kept.get("token")

    async def keep_up(self, joined: Callable[[str], Awaitable[None]], every: float) -> None:
        """For the life of the node: join, then pull the documents every so many seconds, sooner after a failure.

        `joined` is awaited once with the token, as soon as there is one.
        """
        told, retry = False, _RETRY_FIRST
        while True:
            try:
                token = await self.join()
                if not told:
                    await joined(token)
                    told = True
                await self.pull()
                wait, retry = every, _RETRY_FIRST
            except (ClinicAway, ClinicError, OSError) as error:
                log("clinic.away", why=type(error).__name__)
                wait, retry = retry, min(retry * 2, _RETRY_MOST, every)
            await asyncio.sleep(wait)

    async def join(self) -> str:
        """Pair this node if it is not paired; gives its token. Raises ClinicAway."""
        async with self._joining:
            if self.token is None:
                self._keep(
                    await self._json("POST", "/pair", json={"kind": "node", "name": self._name, "code": self._code})
                )
        assert self.token is not None  # noqa: S101 - kept just now
        return self.token

    async def pull(self) -> ClinicDocument:
        """Fetch the clinic document and the PINs if they changed, and the sequences it and the visits here name.

        Raises ClinicAway or ClinicError.
        """
        answer = await self._call("GET", "/sync/clinic", headers={"If-None-Match": self._tag or ""})
        if answer.status_code != 304:
            await self._take_clinic(_json(answer))
            self._tag = answer.headers.get("etag")
        clinic = self._documents.clinic()
        assert clinic is not None  # noqa: S101 - a 304 answers a tag only a kept document gave us
        for digest in {clinic.sequence, *await asyncio.to_thread(self._wanted)}:
            await self.sequence(digest)
        await self._pull_pins()
        await asyncio.to_thread(self._take_removed, await self._json("GET", "/sync/devices/removed"))
        await self._tell_address()
        return clinic

    async def sequence(self, digest: str) -> dict[str, Any]:
        """The sequence document with this digest: our copy, or the clinic's, then kept. Raises ClinicAway."""
        if (kept := self._documents.sequence(digest)) is not None:
            return kept
        document = await self._json("GET", f"/sync/sequence/{digest}")
        if digest_of(document) != digest:
            raise ClinicAway("the clinic server sent another sequence document than the one asked for")
        self._documents.keep_sequence(document)
        return document

    async def pair(self, asked: PairingRequest) -> dict[str, Any]:
        """Have the clinic server pair a device, which may ask here at once for what its answer names.

        Raises ClinicAway when it cannot be reached, PairingRefused when it does not pair.
        """
        await self.join()
        said = await self._call("POST", "/pair", taken=(200, 403), json=asked.model_dump())
        answer = _json(said)
        if said.status_code == 403:
            raise PairingRefused(403, **answer["error"])
        await self._take_clinic(answer["clinic"])
        return answer

    async def _pull_pins(self) -> None:
        answer = await self._call("GET", "/sync/pins", headers={"If-None-Match": self._pins_tag or ""})
        if answer.status_code != 304:
            await asyncio.to_thread(self._take_pins, _json(answer))
            self._pins_tag = answer.headers.get("etag")

    async def _tell_address(self) -> None:
        """Once a start: the clinic server then answers pages that came from here."""
        if not self._told_address:
            await self._call("PUT", "/sync/address", json={"address": self._address})
            self._told_address = True

    async def close(self) -> None:
        await self._client.aclose()

    async def _json(self, method: str, path: str, **body: Any) -> dict[str, Any]:
        return _json(await self._call(method, path, **body))

    async def _call(
        self,
        method: str,
        path: str,
        headers: dict[str, str] | None = None,
        taken: tuple[int, ...] = (200, 204, 304),
        **body: Any,
    ) -> httpx.Response:
        sent = {"Threemark-Protocol": "1", **(headers or {})}
        if self.token:
            sent["Authorization"] = f"Bearer {self.token}"
        try:
            answer = await self._client.request(method, path, headers=sent, **body)
        except httpx.HTTPError as error:
            raise ClinicAway("the clinic server cannot be reached") from error
        if answer.status_code not in taken:
            raise ClinicAway(f"the clinic server answered {answer.status_code}")
        return answer

    def _keep(self, answer: dict[str, Any]) -> None:
        if not {"device", "token", "clinic"} <= answer.keys():
            raise ClinicAway("what answers at the clinic server's address is no clinic server")
        kept = {"device": answer["device"], "token": answer["token"]}
        write_whole(self._file, json.dumps(kept).encode(), mode=0o600)
        self.device, self.token = kept["device"], kept["token"]

    async def _take_clinic(self, raw: Any) -> None:
        # The sequence first: whoever reads the clinic document asks for the sequence it names.
        await self.sequence(clinic_document(raw, "the clinic server").sequence)
        self._documents.take_clinic(raw)


def _json(answer: httpx.Response) -> dict[str, Any]:
    try:
        read = answer.json()
    except ValueError:
        read = None
    if not isinstance(read, dict):
        raise ClinicAway("what answers at the clinic server's address is no clinic server")
    return read
