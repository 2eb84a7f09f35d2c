"""Who may hand in and fetch: devices and their tokens."""

from typing import Literal, NamedTuple, Protocol

Kind = Literal["tablet", "node"]


class Device(NamedTuple):
    """A paired device. `letter` starts its codes; `revoked` is when it was revoked (ms since 1970), 0 if it was not."""

    id: str
    kind: Kind
    letter: str
    name: str
    revoked: int = 0
    blocked: bool = False


class Devices(Protocol):
    def by_token(self, token: str) -> Device | None: ...


class FileDevices:
    """Devices in one JSON file (0600) of the data folder; tokens are kept as SHA-256 only."""

    def __init__(self, path: str) -> None: ...

    def add(self, kind: Kind, name: str, letter: str) -> tuple[Device, str]:
        """Pair a new device. Returns it and its token, which is shown this once."""
        raise NotImplementedError

    def adopt(self, device: Device, token: str) -> None:
        """Know a device that another node paired."""

    def by_token(self, token: str) -> Device | None: ...

    def list(self) -> list[Device]:
        raise NotImplementedError

    def revoke(self, device_id: str, *, block: bool = False) -> bool:
        raise NotImplementedError
