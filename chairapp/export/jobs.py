"""Exports in the making, for the manager's page: each in a thread of its own, watched, stopped, fetched once."""

import contextlib
import secrets
import shutil
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Literal

from chairapp.export.errors import Cancelled, ExportError
from chairapp.export.period import Period, period_of
from chairapp.export.source import Source
from chairapp.export.write import Format, write_export
from sync.errors import SyncError

__all__ = ["Exports", "Job", "State"]

State = Literal["running", "ready", "taken", "stopped", "failed"]
Doc = dict[str, Any]
_KEPT = timedelta(hours=1)
_NAMES: dict[str, str] = {"csv": "tables.zip", "fhir": "fhir.json", "json": "record.json"}


@dataclass
class Job:
    """One export. `done` of `of` visits were looked through; `count` of them are in it; `why` it failed.

    `left_out` could not be taken, as they cannot be judged here.
    """

    id: str
    person: str
    kind: Format
    asked: str
    began: datetime
    file: Path
    state: State = "running"
    done: int = 0
    of: int = 0
    count: int = 0
    left_out: int = 0
    why: str = ""
    stop: threading.Event = field(default_factory=threading.Event)
    thread: threading.Thread | None = None

    @property
    def name(self) -> str:
        """What the file is called where it is saved."""
        return f"threemark-{self.began:%Y-%m-%d}-{_NAMES[self.kind]}"


class Exports:
    """`folder` is for files in the making; what an earlier run left in it goes. Calls may come from any thread.

    `source_of` gives what is exported for a period and the text of a box code ("": every box), and raises ExportError
    for a slip in the code. `noted(who, what, visit)` keeps the access log and raises when it cannot.
    """

    def __init__(
        self,
        folder: Path,
        source_of: Callable[[Period, str], Source],
        sequences: Callable[[], Iterable[tuple[str, Doc]]],
        noted: Callable[[str, str, str], None],
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        shutil.rmtree(folder, ignore_errors=True)
        self._folder = folder
        self._source_of = source_of
        self._sequences = sequences
        self._noted = noted
        self._now = now
        self._jobs: dict[str, Job] = {}
        self._lock = threading.Lock()

    def begin(self, person: str, kind: Format, since: str, until: str, code: str) -> Job:
        """Start one; its person's earlier one, unless it is still running, is let go of.

        Raises ExportError: for what was typed, or when one of this person's is running.
        """
        period = period_of(since, until)
        source = self._source_of(period, code.strip())
        with self._lock:
            self._tidy(person)
            self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            id = secrets.token_urlsafe(24)
            asked = f"box {source.code}" if source.code else str(period)
            job = Job(id, person, kind, asked, self._now(), self._folder / f"{id}.{_NAMES[kind]}")
            self._noted(person, f"export {kind}, {asked}", "")
            self._jobs[id] = job
            job.thread = threading.Thread(target=self._make, args=(job, source), name="export", daemon=True)
            job.thread.start()
            return job

    def get(self, id: str, person: str) -> Job | None:
        """Nobody sees another's."""
        job = self._jobs.get(id)
        return job if job and job.person == person else None

    def running(self, person: str) -> Job | None:
        return next((job for job in self._jobs.values() if job.person == person and job.state == "running"), None)

    def take(self, id: str, person: str) -> Job | None:
        """The finished job, once; its file is the caller's to delete."""
        with self._lock:
            job = self.get(id, person)
            if job is None or job.state != "ready":
                return None
            job.state = "taken"
            return job

    def close(self) -> None:
        """Stop all of them and leave nothing behind."""
        for job in list(self._jobs.values()):
            job.stop.set()
            if job.thread:
                job.thread.join(30)
        shutil.rmtree(self._folder, ignore_errors=True)

    def _tidy(self, person: str) -> None:
        if self.running(person):
            raise ExportError("one of your exports is still running: wait for it, or stop it")
        old = self._now() - _KEPT
        for job in list(self._jobs.values()):
            if job.state != "running" and (job.person == person or job.began < old):
                with contextlib.suppress(FileNotFoundError):
                    job.file.unlink()
                del self._jobs[job.id]

    def _make(self, job: Job, source: Source) -> None:
        made = job.began.strftime("%Y-%m-%dT%H:%M:%SZ")

        def progress(done: int, of: int) -> bool:
            job.done, job.of = done, of
            return not job.stop.is_set()

        try:
            job.count = write_export(source, job.kind, job.file, made, list(self._sequences()), progress)
            job.left_out = source.left_out
            for visit in source.given:
                self._noted(job.person, f"export {job.kind}", visit)
            job.state = "ready"
        except Cancelled:
            job.state = "stopped"
        except (ExportError, SyncError) as error:
            job.why, job.state = str(error), "failed"
        except BaseException:
            # The page must not show a running export for ever; what it was goes to the log of the node.
            job.why, job.state = "the export broke off; the log of the clinic server says where", "failed"
            raise
