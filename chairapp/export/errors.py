"""Why an export is not made.

ExportError
├── PeriodError    the period asked for is none
├── NothingThere   no visit is what was asked for
├── Unreadable     an entry, or what it was asked under, cannot be read
├── OutError       the file cannot be written there
└── Cancelled      somebody told it to stop; nothing is left behind
"""

__all__ = ["Cancelled", "ExportError", "NothingThere", "OutError", "PeriodError", "Unreadable"]


class ExportError(Exception):
    """`str(error)` is the one line a user sees."""


class PeriodError(ExportError):
    pass


class NothingThere(ExportError):
    pass


class Unreadable(ExportError):
    pass


class OutError(ExportError):
    pass


class Cancelled(ExportError):
    def __init__(self) -> None:
        super().__init__("the export was stopped, and nothing of it is kept")
