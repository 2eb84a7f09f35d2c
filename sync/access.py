"""Who may hand in and fetch: paired devices and their tokens.

A token is 256 random bits, so its plain SHA-256 cannot be guessed back and no slow hash is needed; only the digest is
kept. A tablet writes entries of its own device, a node forwards those of any. A revoked device reads nothing from that
moment; for 30 days it may still hand in what it holds, into the drawer, unless it is blocked.
"""

import hashlib
import hmac
import json
import secrets
import threading
import uuid
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Annotated, Literal, NamedTuple, Protocol

from fastapi import Depends
from fastapi.concurrency import run_in_threadpool
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer

from sync.atomic import replace_file
from sync.clock import wall_ms
from sync.errors import NotAllowed, NotPaired, StoreError

__all__ = [
    "Device",
    "Devices",
    "FileDevices",
    "Kind",
    "Letter",
    "Roster",
    "admit",
    "digest_of_token",
    "may_hand_in",
    "new_token",
    "require",
]

Kind = Literal["tablet", "node"]

REVOKED_HANDS_IN_MS = 30 * 24 * 3600 * 1000


class Device(NamedTuple):
    """A paired device. `letter` starts its codes; `revoked` is when it was revoked (ms since 1970), 0 if it was not."""

    id: str
    kind: Kind
    letter: str
    name: str
    revoked: int = 0
    blocked: bool = False


class Devices(Protocol):
    def by_token(self, token: str) -> Device | None:
        """The device this token belongs to, revoked or not. Blocks; may be called from any thread."""


class Roster(Devices, Protocol):
    """The devices of a clinic, to pair and to remove. `FileDevices` keeps it, and `sql_devices.SqlDevices`."""

    def add(self, kind: Kind, name: str, letter: "Letter") -> tuple[Device, str]:
        """Pair a new device. Returns it and its token, which nobody can show again.

        `letter` may be chosen from the devices there are; no other pairing can come between.
        """

    def adopt(self, device: Device, token: str) -> None:
        """Know a device that another node paired, by the token that node gave it."""

    def take_over(self, known: Iterable[tuple[Device, str]]) -> None:
        """Know devices by the digests of their tokens; those known already stay as they are."""

    def with_digests(self) -> "list[tuple[Device, str]]":
        """Every device with the digest of its token, in the order they were paired."""

    def list(self) -> "list[Device]":
        """All devices, the revoked ones too, in the order they were paired."""

    def rename(self, device_id: str, name: str) -> bool:
        """Call a device by another name. False if nobody knows it."""

    def revoke(self, device_id: str, *, block: bool = False) -> bool:
        """From now on the device reads nothing; with `block` it hands nothing in either. False if nobody knows it."""


Letter = str | Callable[[list[Device]], str]


def new_token() -> str:
    """256 bits from the system's random source, as 43 characters."""
    return secrets.token_urlsafe(32)


def digest_of_token(token: str) -> str:
    """What is kept of a token: SHA-256, 64 hex digits."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


def require(devices: Devices, *, revoked: bool = False) -> Callable[..., object]:
    """A FastAPI dependency that gives the `Device` of the bearer token.

    `Annotated[Device, Depends(require(devices))]` on every route of the API. Raises NotPaired (401) and NotAllowed
    (403); `border.HopRoute` makes answers of them. `revoked=True` lets a device revoked less than 30 days ago pass.
    """
    bearer = HTTPBearer(auto_error=False, description="The token a device got when it was paired.")

    async def device(given: Annotated[HTTPAuthorizationCredentials | None, Depends(bearer)]) -> Device:
        if given is None:
            raise NotPaired("There is no device token.", field="Authorization")
        return await run_in_threadpool(admit, devices, given.credentials, revoked, wall_ms())

    return device


def admit(devices: Devices, token: str, revoked: bool, now: int) -> Device:
    """The device of a token. With `revoked` one revoked less than 30 days before `now` passes.

    Raises NotPaired and NotAllowed.
    """
    found = devices.by_token(token)
    if found is None:
        raise NotPaired("Nobody here knows this device token.", field="Authorization")
    if found.revoked and not (revoked and may_hand_in(found, now)):
        raise NotAllowed(f"{found.name} was removed from the clinic's devices.", field="Authorization")
    return found


def may_hand_in(device: Device, now: int) -> bool:
    """Whether a revoked device may still hand in, into the drawer. `now` in ms since 1970."""
    return not device.blocked and now - device.revoked < REVOKED_HANDS_IN_MS


class FileDevices:
    """Devices in one JSON file, readable by its owner only. Another process may change it; that is noticed."""

    def __init__(self, path: Path | str, *, now: Callable[[], int] = wall_ms) -> None:
        self._path = Path(path)
        self._now = now
        self._guard = threading.Lock()
        self._read_at: tuple[int, int] | None = None
        self._devices: dict[str, Device] = {}
        self._by_digest: dict[str, str] = {}
        self._refresh()

    def add(self, kind: Kind, name: str, letter: Letter) -> tuple[Device, str]:
        """Pair a new device. Returns it and its token, which nobody can show again."""
        with self._guard:
            self._refresh()
            chosen = letter if isinstance(letter, str) else letter([*self._devices.values()])
            device, token = Device(str(uuid.uuid4()), kind, chosen, name), new_token()
            self._adopt(device, token)
        return device, token

    def adopt(self, device: Device, token: str) -> None:
        """Know a device that another node paired, by the token that node gave it."""
        with self._guard:
            self._refresh()
            self._adopt(device, token)

    def take_over(self, known: Iterable[tuple[Device, str]]) -> None:
        """Know devices by the digests of their tokens; those known already stay as they are."""
        with self._guard:
            self._refresh()
            for device, digest in known:
                if digest not in self._by_digest:
                    self._by_digest[digest] = device.id
                    self._devices.setdefault(device.id, device)
            self._write()

    def with_digests(self) -> "list[tuple[Device, str]]":
        """Every device with the digest of its token, in the order they were paired."""
        with self._guard:
            self._refresh()
            return [(self._devices[device], digest) for digest, device in self._by_digest.items()]

    def by_token(self, token: str) -> Device | None:
        wanted = digest_of_token(token)
        with self._guard:
            self._refresh()
            # Every digest is looked at, each in constant time: how long it takes tells nothing of any of them.
            found = [device for digest, device in self._by_digest.items() if hmac.compare_digest(digest, wanted)]
            return self._devices[found[0]] if found else None

    def list(self) -> "list[Device]":
        """All devices, the revoked ones too, in the order they were paired."""
        with self._guard:
            self._refresh()
            return [*self._devices.values()]

    def rename(self, device_id: str, name: str) -> bool:
        """Call a device by another name. False if nobody knows it."""
        return self._change(device_id, lambda device: device._replace(name=name))

    def revoke(self, device_id: str, *, block: bool = False) -> bool:
        """From now on the device reads nothing; with `block` it hands nothing in either. False if nobody knows it."""
        now = self._now()
        return self._change(device_id, lambda device: device._replace(revoked=device.revoked or now, blocked=block))

    def _change(self, device_id: str, changed: Callable[[Device], Device]) -> bool:
        with self._guard:
            self._refresh()
            device = self._devices.get(device_id)
            if device is None:
                return False
            self._devices[device_id] = changed(device)
            self._write()
            return True

    def _adopt(self, device: Device, token: str) -> None:
        self._by_digest[digest_of_token(token)] = device.id
        self._devices[device.id] = device
        self._write()

    def _refresh(self) -> None:
        try:
            status = self._path.stat()
        except FileNotFoundError:
            return
        if self._read_at == (status.st_mtime_ns, status.st_ino):
            return
        try:
            rows = json.loads(self._path.read_bytes())["devices"]
            self._by_digest = {row.pop("digest"): row["id"] for row in rows}
            self._devices = {row["id"]: Device(**row) for row in rows}
        except (ValueError, KeyError, TypeError) as error:
            # Going on without devices would lock every tablet out, and the next pairing would make that final.
            raise StoreError(f"{self._path.name} cannot be read as a list of devices.") from error
        self._read_at = (status.st_mtime_ns, status.st_ino)

    def _write(self) -> None:
        rows = [{**self._devices[device]._asdict(), "digest": digest} for digest, device in self._by_digest.items()]
        replace_file(self._path, json.dumps({"devices": rows}, indent=1).encode())
        status = self._path.stat()
        self._read_at = (status.st_mtime_ns, status.st_ino)
