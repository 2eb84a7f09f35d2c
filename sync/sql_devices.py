"""Paired devices in the clinic's database, so that every server of the clinic knows them at once."""

import uuid
from collections.abc import Callable, Iterable
from typing import Any

from sqlalchemy import Connection, Select, insert, select, update

from sync import sql_tables as tables
from sync.access import Device, Kind, Letter, digest_of_token, new_token
from sync.clock import wall_ms
from sync.sql_store import SqlStore

__all__ = ["SqlDevices"]

_FIELDS = tuple(Device._fields)


class SqlDevices:
    """The devices beside the entries of `store`; the same calls as `access.FileDevices`. Raises StoreAway."""

    def __init__(self, store: SqlStore, *, now: Callable[[], int] = wall_ms) -> None:
        self._database = store.database
        self._now = now

    def add(self, kind: Kind, name: str, letter: Letter) -> tuple[Device, str]:
        """Pair a new device. Returns it and its token, which nobody can show again.

        `letter` may be chosen from the devices there are, which no other server can come between.
        """
        with self._database.writing() as connection:
            chosen = letter if isinstance(letter, str) else letter(_all(connection))
            device, token = Device(str(uuid.uuid4()), kind, chosen, name), new_token()
            _keep(connection, device, digest_of_token(token))
        return device, token

    def adopt(self, device: Device, token: str) -> None:
        """Know a device that another node paired, by the token that node gave it."""
        self.take_over([(device, digest_of_token(token))])

    def take_over(self, known: Iterable[tuple[Device, str]]) -> None:
        """Know devices by the digests of their tokens; those known already stay as they are."""
        with self._database.writing() as connection:
            for device, digest in known:
                if connection.scalar(select(tables.device.c.id).where(tables.device.c.digest == digest)) is None:
                    _keep(connection, device, digest)

    def with_digests(self) -> list[tuple[Device, str]]:
        """Every device with the digest of its token, in the order they were paired."""
        with self._database.reading() as connection:
            return [(_device(row), row.digest) for row in connection.execute(_rows())]

    def by_token(self, token: str) -> Device | None:
        # Looked up by the digest of a random token: how long that takes tells nothing of any other.
        query = _rows().where(tables.device.c.digest == digest_of_token(token))
        with self._database.reading() as connection:
            row = connection.execute(query).first()
        return _device(row) if row else None

    def list(self) -> "list[Device]":
        """All devices, the revoked ones too, in the order they were paired."""
        with self._database.reading() as connection:
            return _all(connection)

    def rename(self, device_id: str, name: str) -> bool:
        """Call a device by another name. False if nobody knows it."""
        with self._database.writing() as connection:
            named = update(tables.device).where(tables.device.c.id == device_id).values(name=name)
            return bool(connection.execute(named).rowcount)

    def revoke(self, device_id: str, *, block: bool = False) -> bool:
        """From now on the device reads nothing; with `block` it hands nothing in either. False if nobody knows it."""
        with self._database.writing() as connection:
            row = connection.execute(_rows().where(tables.device.c.id == device_id)).first()
            if row is None:
                return False
            values = {"revoked": row.revoked or self._now(), "blocked": block}
            connection.execute(update(tables.device).where(tables.device.c.id == device_id).values(values))
            return True


def _keep(connection: Connection, device: Device, digest: str) -> None:
    connection.execute(insert(tables.device), {**device._asdict(), "digest": digest})


def _all(connection: Connection) -> list[Device]:
    found = [_device(row) for row in connection.execute(_rows())]
    return [*{device.id: device for device in found}.values()]


def _rows() -> Select[Any]:
    return select(tables.device).order_by(tables.device.c.number)


def _device(row: Any) -> Device:
    return Device(**{name: getattr(row, name) for name in _FIELDS})
