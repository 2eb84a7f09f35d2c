"""Measurements, arms side by side in one run: ratios travel between machines, milliseconds do not.

Each module here has `run() -> list[Row]`. `python -m bench` runs all of them and writes RESULTS.md; `python -m bench
save` runs one and only prints.
"""

from typing import NamedTuple


class Row(NamedTuple):
    """One measured thing. `ratio` is to `against`; `gate` is the most (or, with >=, the least) it may be."""

    what: str
    value: float
    unit: str = "ms"
    ratio: float | None = None
    against: str = ""
    gate: str = ""

    @property
    def holds(self) -> bool:
        """Whether the ratio keeps its gate, such as "<= 1.5" or ">= 50"; true without one."""
        if not self.gate or self.ratio is None:
            return True
        sign, limit = self.gate.split()
        return self.ratio <= float(limit) if sign == "<=" else self.ratio >= float(limit)
