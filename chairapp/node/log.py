"""The log: JSON lines on stderr, with no values, names or tokens in them.

Our own lines carry named fields chosen one by one. Of the libraries' lines only the text as written in their source is
kept, never what was filled in, and of an exception its kind and place, never its message: both can hold what a person
typed.
"""

import json
import logging
import sys
import traceback
from datetime import UTC, datetime
from typing import Any, TextIO

__all__ = ["log", "start_log"]

_OURS = "threemark"


def log(event: str, **fields: str | int | float | bool | None) -> None:
    """One line: a fixed event name and fields that are safe to keep."""
    logging.getLogger(_OURS).info(event, extra={"fields": fields})


def start_log(stream: TextIO | None = None) -> None:
    """Send every logger of this process to `stream` (stderr) as JSON lines."""
    handler = logging.StreamHandler(stream or sys.stderr)
    handler.setFormatter(_JsonLines())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
    logging.getLogger(_OURS).setLevel(logging.INFO)
    for name in ("uvicorn", "uvicorn.error", "uvicorn.access", "nicegui"):
        logger = logging.getLogger(name)
        logger.handlers.clear()
        logger.propagate = True


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
