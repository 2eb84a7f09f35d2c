"""When a paired device was last heard, and how many entries it said it had waiting; kept beside the entries.

Noted once a minute a device at most: it tells a person who is away, it is no log.
"""

import threading
from collections.abc import Callable
from typing import Any, Protocol

from sync.access import Device, Devices
from sync.clock import wall_ms

__all__ = ["Hearing", "heard_of", "note_waiting"]

EVERY_MS = 60_000


class Kept(Protocol):
    """Small values beside the entries; a `Store` keeps them."""

    def keep(self, name: str, value: Any) -> None: ...
    def kept(self, name: str) -> Any: ...


class Hearing:
    """`Devices` that notes whoever shows a token it knows. Raises StoreError when that cannot be kept."""

    def __init__(self, devices: Devices, store: Kept, now: Callable[[], int] = wall_ms) -> None:
        self._devices = devices
        self._store = store
        self._now = now
        self._guard = threading.Lock()
        self._noted: dict[str, int] = {}

    def by_token(self, token: str) -> Device | None:
        device = self._devices.by_token(token)
        if device and self._is_due(device.id):
            self._store.keep(f"heard of {device.id}", self._now())
        return device

    def _is_due(self, device: str) -> bool:
        now = self._now()
        with self._guard:
            due = now - self._noted.get(device, 0) >= EVERY_MS
            if due:
                self._noted[device] = now
        return due


def note_waiting(store: Kept, device: str, waiting: int) -> None:
    """What a device said it has left to hand in; the same as before costs no write."""
    if store.kept(f"waiting at {device}") != waiting:
        store.keep(f"waiting at {device}", waiting)


def heard_of(store: Kept, device: str) -> tuple[int, int | None]:
    """When it last called, ms since 1970 (0: never), and how many entries waited there then, None if it did not say."""
    return store.kept(f"heard of {device}") or 0, store.kept(f"waiting at {device}")
