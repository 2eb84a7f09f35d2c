"""What the assistant's pages know: the visits of this node as boxes, their labels, and how a print is recorded."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal, Protocol

from chairapp.box import draw
from chairapp.box.code import parse, shown
from chairapp.box.errors import CodeError
from chairapp.box.label import Layout, lay_out
from chairapp.box.record import BoxRecord, box_record, label_for, printed_value
from chairapp.clinic import ClinicDocument
from chairapp.register import Line, NoSequence, Register, Words, words_of

__all__ = ["Box", "Desk", "Write", "file_of"]

Kind = Literal["svg", "png", "pdf"]
SHOWN = 60


class Write(Protocol):
    """Add an entry of this node to a visit."""

    def __call__(self, visit: str, kind: str, item: str, value: Any, author: str) -> Any: ...


@dataclass(frozen=True)
class Box:
    line: Line
    record: BoxRecord
    view: dict[str, Any]
    words: Words


class Desk:
    """Calls block; pages make them in a worker thread. `address` is scheme and host of a label's symbol."""

    def __init__(
        self,
        register: Register,
        clinic: Callable[[], ClinicDocument],
        address: Callable[[], str],
        size: tuple[float, float],
        write: Write,
    ) -> None:
        self.size = size
        self.clinic = clinic
        self._register = register
        self._address = address
        self._write = write

    def queue(self) -> list[Box]:
        """Signed visits: those without a label, those with an old one, those done; each the latest first."""
        lines = [line for line in self._register.lines() if line.signed]
        waiting = [line for line in lines if not line.printed][:SHOWN]
        labelled = [line for line in lines if line.printed][:SHOWN]
        boxes = [box for line in (*waiting, *labelled) if (box := self._box(line))]
        return sorted(boxes, key=lambda box: ("none", "older", "current").index(box.record.on))

    def find(self, typed: str) -> list[Box]:
        """The boxes with this code. Raises CodeError, with suggestions, for a slip and for a code nobody has here."""
        code = parse(typed, self._register.codes())
        lines = self._register.with_code(code)
        if not lines:
            raise CodeError(f"box {shown(code)} is a code without a slip, but no visit here has it")
        return [box for line in lines if (box := self._box(line))]

    def layout(self, box: Box) -> Layout:
        """Raises NoSignature or LabelError."""
        return lay_out(label_for(box.record, self._address(), self.clinic()), self.size)

    def printed(self, box: Box, author: str, reason: str | None) -> None:
        """Record that a label was made."""
        self._write(box.line.visit, "printed", "label", printed_value(box.record, reason), author)

    def _box(self, line: Line) -> Box | None:
        """None while the sequence it was opened with has not reached this node."""
        try:
            view, sequence = self._register.view(line.visit), self._register.sequence(line.visit)
        except NoSequence:
            return None
        words = words_of(sequence, view["state"]["opened"]["language"])
        return Box(line, box_record(view, words), view, words)


def file_of(layout: Layout, kind: Kind, dpi: int, at: datetime) -> bytes:
    """The label as a file of this kind; `at` dates the PDF, `dpi` is the printer's for PNG."""
    if kind == "svg":
        return draw.svg(layout).encode()
    return draw.png(layout, dpi) if kind == "png" else draw.pdf(layout, at)
