"""Tables as files: RFC 4180 with a byte order mark, and no cell that a spreadsheet would run.

Texts are quoted and numbers are not, so that a reader can tell "12" that somebody typed from 12 that was measured. The
mark (UTF-8 with BOM) is there because the spreadsheets of a practice otherwise take UTF-8 for the system's own code
page and spoil every name with an accent; programs read it with `utf-8-sig`.
"""

import csv
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Any

__all__ = ["Table", "safe"]

_RUNS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "|", "%")
"""What a spreadsheet takes for the start of a formula, or of a command in an old one; wide forms it may narrow."""


def safe(text: str) -> str:
    """The text as a cell: an apostrophe before what a spreadsheet would run, and before an apostrophe of its own.

    So an apostrophe at the start of a cell is always ours, and whoever reads the file takes one away.
    """
    looked_at = text.lstrip(" \u00a0\ufeff\u200b")
    return f"'{text}" if looked_at.startswith((*_RUNS, "'")) or text.startswith("'") else text


class Table:
    """One CSV file, written row by row. `columns` are its heading."""

    def __init__(self, path: Path, columns: Sequence[str]) -> None:
        self.columns = tuple(columns)
        self.rows = 0
        self._file = path.open("w", encoding="utf-8-sig", newline="")
        self._writer = csv.writer(self._file, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\r\n")
        self._writer.writerow(self.columns)

    def add(self, row: dict[str, Any]) -> None:
        """A row by column names; what is left out or None is empty. Raises KeyError for a column that is not there."""
        if unknown := row.keys() - set(self.columns):
            raise KeyError(*sorted(unknown))
        self._writer.writerow([_cell(row.get(name)) for name in self.columns])
        self.rows += 1

    def __enter__(self) -> "Table":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._file.close()


def _cell(value: Any) -> str | int | float:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return int(value) if value == value // 1 else value
    return safe(value) if isinstance(value, str) else safe(str(value))
