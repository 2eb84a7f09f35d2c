"""What keeps a node going while it serves: a look around every minute, the nightly backup, what there is to tell."""

import asyncio
import shutil
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import datetime
from pathlib import Path

from chairapp.clinic import ClinicError
from chairapp.node.log import log
from chairapp.node.node import Node
from chairapp.running.certificate import ends_ms
from chairapp.running.clock_watch import ClockWatch
from chairapp.running.concerns import Backups, Concern, Facts, concerns, unreadable
from chairapp.running.nightly import Nightly
from chairapp.running.skew import recent, skews
from sync.backup import BACKED_UP
from sync.clock import wall_ms
from sync.errors import SyncError

__all__ = ["Running", "facts_of"]

EVERY = 60.0


class Running:
    """Of one node. `concerns` reads what is there now; its calls block."""

    def __init__(self, node: Node, now: Callable[[], int] = wall_ms) -> None:
        self._node = node
        self._now = now
        self._clock = ClockWatch()
        self.nightly = Nightly(node) if node.settings.backup_to else None
        self._told: set[str] = set()

    def concerns(self) -> list[Concern]:
        failed = self.nightly.failed if self.nightly else ""
        try:
            return concerns(facts_of(self._node, self._now(), self._clock.stepped(), failed))
        except SyncError as error:
            return [unreadable(error.why, error.do)]

    @asynccontextmanager
    async def life(self) -> AsyncIterator[None]:
        keeping = asyncio.create_task(self._keep())
        try:
            yield
        finally:
            keeping.cancel()
            await asyncio.wait([keeping])

    async def _keep(self) -> None:
        while True:
            await asyncio.sleep(EVERY)
            try:
                if self.nightly:
                    await self.nightly.look()
                await asyncio.to_thread(self._log)
            except (ClinicError, OSError) as error:
                # The next minute may be a better one; a watch that ends would end the backups.
                log("running.put_off", why=type(error).__name__)

    def _log(self) -> None:
        """Each concern once, when it comes."""
        found = self.concerns()
        for concern in found:
            if concern.what not in self._told:
                log("concern", what=concern.what, serious=concern.serious)
        self._told = {concern.what for concern in found}


def facts_of(node: Node, now: int, stepped: float = 0.0, failed: str = "") -> Facts:
    """Of a node, running or not, at `now` (ms). Raises StoreError."""
    disk = shutil.disk_usage(node.folder.path)
    entries, came = recent(node.store, now)
    names = {device.id: device.name for device in node.devices.list()}
    return Facts(
        now=now,
        free=disk.free,
        whole=disk.total,
        refused=node.store.refused_count(),
        damaged=len(node.store.damaged),
        newest=max(came.values(), default=0),
        stepped=stepped,
        skewed={names.get(device, f"device {device[:8]}"): by for device, by in skews(entries, came).items()},
        backups=_backups(node, failed),
        certificate_ends=ends_ms(node.folder.keys),
    )


def _backups(node: Node, failed: str) -> Backups | None:
    """Of a clinic server: chair nodes hand on what they hold. Invented visits need none."""
    settings = node.settings
    if settings.role != "clinic" or settings.demo:
        return None
    noted = node.store.kept(BACKED_UP) or {}
    at = int(datetime.fromisoformat(noted["at"]).timestamp() * 1000) if "at" in noted else 0
    return Backups(at, settings.backup_days, failed, _same_disk(settings.backup_to, node.folder.path))


def _same_disk(backups: Path | None, data: Path) -> bool:
    return backups is not None and backups.exists() and backups.stat().st_dev == data.stat().st_dev
