"""A backup every night, by the clinic server itself; older ones go only after the new one was read again."""

import asyncio
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from chairapp.node.errors import FolderError, NodeError
from chairapp.node.keeping import backup_beside
from chairapp.node.log import log
from chairapp.node.node import Node
from sync.errors import SyncError
from sync.sql_store import SqlStore

__all__ = ["Nightly", "due", "prune", "taken"]

TRY_AGAIN = timedelta(hours=1)
_NAME = re.compile(r"threemark-(\d{8}T\d{6}Z)\.backup")
_LEFT_OVER = re.compile(r"\.threemark-\d{8}T\d{6}Z\.backup\.new")
_STAMP = "%Y%m%dT%H%M%SZ"


def due(now: datetime, hour: int, last: datetime | None) -> bool:
    """Whether the last backup lies before the last time it was `hour` o'clock where `now` is: a missed one is due."""
    slot = now.replace(hour=hour, minute=0, second=0, microsecond=0)
    if slot > now:
        slot -= timedelta(days=1)
    return last is None or last < slot


def taken(folder: Path, now: datetime) -> datetime | None:
    """When the last backup in this folder was taken. One dated later than `now` was dated by a wrong clock."""
    dates = [_date(found[1]) for file in folder.iterdir() if (found := _NAME.fullmatch(file.name))]
    return max((date for date in dates if date <= now), default=None)


def prune(folder: Path, keep: int, fresh: Path) -> list[str]:
    """Drop all but `keep` of the nightly backups, `fresh` being one that stays, and what a cut-off one left behind.

    No other file is touched. Gives the names of the backups that went.
    """
    for file in folder.iterdir():
        if _LEFT_OVER.fullmatch(file.name):
            file.unlink()
    others = sorted(file for file in folder.iterdir() if _NAME.fullmatch(file.name) and file != fresh)
    gone = others[: max(len(others) - (keep - 1), 0)]
    for file in gone:
        file.unlink()
    return [file.name for file in gone]


class Nightly:
    """Of a clinic server with `backup_to` set. `failed` is why the last try came to nothing, one line."""

    def __init__(self, node: Node, now: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self._node = node
        self._now = now
        self._not_before: datetime | None = None
        self.failed = ""

    async def look(self) -> None:
        """Take a backup when one is due; to be called every minute. Others are served meanwhile."""
        await asyncio.to_thread(self.take_if_due)

    def take_if_due(self) -> None:
        now, clinic = self._now(), self._node.documents.clinic()
        if clinic is None or (self._not_before and now < self._not_before):
            return
        try:
            folder = self._folder()
            here = now.astimezone(ZoneInfo(clinic.time_zone))
            if due(here, self._node.settings.backup_hour, taken(folder, now)):
                self._take(folder, now)
            self._not_before, self.failed = None, ""
        except (SyncError, NodeError, OSError) as error:
            self._not_before, self.failed = now + TRY_AGAIN, _line(error)
            log("backup.failed", why=type(error).__name__)

    def _take(self, folder: Path, now: datetime) -> None:
        assert isinstance(self._node.store, SqlStore)  # noqa: S101 - what `open_store` gives a clinic server
        to = folder / f"threemark-{now.astimezone(UTC).strftime(_STAMP)}.backup"
        backup = backup_beside(self._node.folder, self._node.store, to)
        gone = prune(folder, self._node.settings.backup_keep, to)
        log("backup.done", entries=backup.head.position, bytes=to.stat().st_size, pruned=len(gone))

    def _folder(self) -> Path:
        folder = self._node.settings.backup_to
        if folder is None or not folder.is_dir():
            raise FolderError(f"{folder}: there is no such folder, see that its disk is there")
        return folder


def _date(text: str) -> datetime:
    return datetime.strptime(text, _STAMP).replace(tzinfo=UTC)


def _line(error: Exception) -> str:
    if isinstance(error, SyncError):
        return f"{error.why} {error.do}"
    if isinstance(error, OSError):
        return f"{error.filename}: {error.strerror}."
    return f"{error}."
