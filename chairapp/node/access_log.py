"""Who looked at what: a line a look, an export or a sign-in, kept at the node that served it.

    data/log/access.jsonl   {"at", "who", "role", "what", "visit"}, JSON with every character outside ASCII escaped

No value and no name of a patient is in it: `what` is one of our own words, `visit` an id. A new file is begun every
month and at 4 MB; whole files go when they are older than the retention, or when all of them together are over 256 MB,
the oldest first. Lines are not waited for on the disk: a power cut may cost the last second of looks.
"""

import fcntl
import json
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from chairapp.node.errors import NodeError
from chairapp.node.log import log

__all__ = ["ALL_BYTES", "FILE_BYTES", "AccessLog", "NotNoted"]

FILE_BYTES = 4 * 1024 * 1024
ALL_BYTES = 256 * 1024 * 1024
_LONG = {"who": 80, "role": 20, "what": 200, "visit": 80}


class NotNoted(NodeError):
    """An export that cannot be noted is not made."""


class AccessLog:
    """Several processes may write to one folder. `days` is the retention, `now` tells the time."""

    def __init__(self, folder: Path, days: int, now: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self._folder = folder
        self._file = folder / "access.jsonl"
        self._days = days
        self._now = now

    def note(self, who: str, role: str, what: str, visit: str = "", *, must: bool = False) -> None:
        """One line. When it cannot be kept the log of the node says so; with `must` NotNoted is raised."""
        at = self._now()
        told = {"who": who, "role": role, "what": what, "visit": visit}
        cut = {name: text[: _LONG[name]] for name, text in told.items()}
        line = json.dumps({"at": at.strftime("%Y-%m-%dT%H:%M:%S.") + f"{at.microsecond // 1000:03d}Z"} | cut)
        try:
            with self._open() as file:
                os.write(file, line.encode() + b"\n")
        except OSError as error:
            log("access.not_kept", why=error.strerror)
            if must:
                raise NotNoted(f"{self._file}: the access log cannot be written: {error.strerror}") from None

    def lines(self) -> Iterator[dict[str, str]]:
        """The latest first. A line that is damaged is there as such, with what can be said of it."""
        for file in [self._file, *reversed(self._older())]:
            try:
                data = file.read_bytes()
            except FileNotFoundError:
                continue
            for line in reversed(data.splitlines()):
                yield _line(line)

    def about(self, visit: str) -> Iterator[dict[str, str]]:
        """Who looked at this visit, the oldest first."""
        return reversed([line for line in self.lines() if line["visit"] == visit])

    @contextmanager
    def _open(self) -> Iterator[int]:
        """The file of today for writing, held by this process alone; a new one where it is full or of another month."""
        while True:
            file = os.open(self._file, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
            try:
                fcntl.flock(file, fcntl.LOCK_EX)
                if not self._is_current(file):
                    continue
                self._give_to_owner(file)
                if self._is_over(file):
                    self._begin_anew()
                    continue
                yield file
                return
            finally:
                os.close(file)

    def _is_current(self, file: int) -> bool:
        """Not when another process began a new file between our opening and our lock."""
        try:
            return os.stat(self._file).st_ino == os.fstat(file).st_ino
        except FileNotFoundError:
            return False

    def _give_to_owner(self, file: int) -> None:
        """A command run by root must not leave a file that the node's own user cannot write to."""
        owner = self._folder.stat()
        if os.geteuid() == 0 and os.fstat(file).st_uid != owner.st_uid:
            os.fchown(file, owner.st_uid, owner.st_gid)

    def _is_over(self, file: int) -> bool:
        state, now = os.fstat(file), self._now()
        written = datetime.fromtimestamp(state.st_mtime, UTC)
        return bool(state.st_size) and (
            state.st_size >= FILE_BYTES or (written.year, written.month) < (now.year, now.month)
        )

    def _begin_anew(self) -> None:
        written = datetime.fromtimestamp(self._file.stat().st_mtime, UTC)
        # Numbered, so that two of one second stand apart and names sort as they were written.
        number = len(list(self._folder.glob(f"access-{written:%Y%m%d}-*.jsonl")))
        self._file.rename(self._folder / f"access-{written:%Y%m%d}-{number:04d}.jsonl")
        self._let_go()

    def _let_go(self) -> None:
        oldest = (self._now() - timedelta(days=self._days)).timestamp()
        kept = 0
        for file in reversed(self._older()):
            state = file.stat()
            kept += state.st_size
            if state.st_mtime < oldest or kept > ALL_BYTES:
                file.unlink()

    def _older(self) -> list[Path]:
        return sorted(self._folder.glob("access-*.jsonl"))


def _line(data: bytes) -> dict[str, str]:
    try:
        line = json.loads(data)
        return {name: str(line[name]) for name in ("at", "who", "role", "what", "visit")}
    except (ValueError, KeyError, TypeError):
        return {"at": "", "who": "", "role": "", "what": "a line that cannot be read", "visit": ""}
