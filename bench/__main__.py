"""`python -m bench [NAME ...]`: run the measurements, print a table, write RESULTS.md when all were run."""

import importlib
import os
import platform
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

from bench import Row

FOLDER = Path(__file__).parent
HEADINGS = ("what", "median", "ratio", "against", "gate", "holds")


def main(names: list[str]) -> int:
    """0 when every ratio keeps its gate, 1 when not, 2 for a name that does not exist."""
    known = sorted(path.stem for path in FOLDER.glob("*.py") if not path.stem.startswith("_"))
    unknown = set(names) - set(known)
    if unknown:
        print(f"bench: no such measurement: {', '.join(sorted(unknown))}. There are: {', '.join(known)}.")
        return 2
    parts = [f"# Measured\n\n{_machine()}\n"]
    rows: list[Row] = []
    for name in names or known:
        began = time.perf_counter()
        module = importlib.import_module(f"bench.{name}")
        found: list[Row] = module.run()
        rows += found
        first_line = (module.__doc__ or name).strip().splitlines()[0]
        parts.append(f"## {name}\n\n{first_line}\n\n{_table(found)}\n\n{time.perf_counter() - began:.1f} s\n")
        print(parts[-1])
    if not names:
        (FOLDER / "RESULTS.md").write_text("\n".join(parts))
    return 0 if all(row.holds for row in rows) else 1


def _machine() -> str:
    today = datetime.now(UTC).strftime("%Y-%m-%d")
    python, sqlite = platform.python_version(), importlib.import_module("sqlite3").sqlite_version
    load = os.getloadavg()[0]
    return (
        f"{today}, {platform.system()} {platform.machine()}, {os.cpu_count()} cores (load {load:.1f} at the start), "
        f"Python {python}, SQLite {sqlite}. Medians; the arms of a table were interleaved."
    )


def _table(rows: list[Row]) -> str:
    lines = [HEADINGS, tuple("-" for _ in HEADINGS), *(_cells(row) for row in rows)]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def _cells(row: Row) -> tuple[str, ...]:
    ratio = "" if row.ratio is None else f"{row.ratio:.2f}"
    holds = "" if not row.gate else "yes" if row.holds else "**no**"
    return row.what, f"{row.value:.4g} {row.unit}", ratio, row.against, row.gate, holds


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
