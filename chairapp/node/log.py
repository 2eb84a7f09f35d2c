"""The log: JSON lines on stderr and, where asked, in a file; with no values, names or tokens in them.

Our own lines carry named fields chosen one by one. Of the libraries' lines only the text as written in their source is
kept, never what was filled in, and of an exception its kind and place, never its message: both can hold what a person
typed.
"""

import json
import logging
import sys
import traceback
from datetime import UTC, datetime
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Any, TextIO

from chairapp.node.errors import FolderError

__all__ = ["FILES", "FILE_BYTES", "log", "start_log"]

FILE_BYTES, FILES = 5_000_000, 5
_OURS = "threemark"


def log(event: str, **fields: str | int | float | bool | None) -> None:
    """One line: a fixed event name and fields that are safe to keep."""
    logging.getLogger(_OURS).info(event, extra={"fields": fields})


def start_log(stream: TextIO | None = None, file: Path | None = None) -> None:
    """Send every logger of this process to `stream` (stderr) as JSON lines, and to `file`, 5 of 5 MB.

    Raises FolderError when the file cannot be written.
    """
    # What cannot be written, as on a full disk, is lost: Python would else print it, with what was filled in.
    logging.raiseExceptions = False
    handlers: list[logging.Handler] = [logging.StreamHandler(stream or sys.stderr)]
    if file:
        handlers.append(_rotating(file))
    for handler in handlers:
        handler.setFormatter(_JsonLines())
    root = logging.getLogger()
    root.handlers[:] = handlers
    root.setLevel(logging.WARNING)
    logging.getLogger(_OURS).setLevel(logging.INFO)
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access", "nicegui"):
        logger = logging.getLogger(name)
        logger.handlers.clear()
        logger.propagate = True


def _rotating(file: Path) -> RotatingFileHandler:
    """The size of all files together is bounded: a node may run for years without anybody looking."""
    try:
        return RotatingFileHandler(file, maxBytes=FILE_BYTES, backupCount=FILES - 1, encoding="utf-8")
    except OSError as error:
        raise FolderError(f"--log-file: {file} cannot be written: {error.strerror}") from None


class _JsonLines(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
            "level": record.levelname.lower(),
            "from": record.name,
            "event": record.msg if isinstance(record.msg, str) else type(record.msg).__name__,
            **getattr(record, "fields", {}),
        }
        if record.exc_info and record.exc_info[0]:
            line["error"] = record.exc_info[0].__name__
            line["where"] = [f"{f.filename}:{f.lineno} {f.name}" for f in traceback.extract_tb(record.exc_info[2])[-6:]]
        return json.dumps(line, ensure_ascii=False)
