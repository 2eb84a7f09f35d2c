"""What the assistant's pages know: the visits of this node as boxes, and how what is done with one is recorded."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, Literal, Protocol

from chairapp.box import draw
from chairapp.box.code import parse, shown
from chairapp.box.errors import CodeError, MoveError, PackingError
from chairapp.box.label import Layout, lay_out
from chairapp.box.movement import HERE, PLACES, Next, Whereabouts, next_of, whereabouts
from chairapp.box.outcome import ITEM, Outcome
from chairapp.box.prescription import Paper, Prescription, prescription_of
from chairapp.box.record import BoxRecord, What, box_record, label_for, printed_value, signature_for
from chairapp.box.sheet import Sheet, sheet_from
from chairapp.clinic import ClinicDocument, local
from chairapp.register import Line, NoSequence, Register, Words, words_of
from chairapp.sequence.check import check_entry
from chairapp.sequence.check_box import is_date

__all__ = ["Box", "Desk", "Placed", "Write", "file_of"]

Kind = Literal["svg", "png", "pdf"]
SHOWN = 60
PACKING = ("packing.items", "packing.agent", "packing.minutes", "packing.note")


class Write(Protocol):
    """Add an entry of this node to a visit."""

    def __call__(self, visit: str, kind: str, item: str, value: Any, author: str) -> Any: ...


@dataclass(frozen=True)
class Box:
    line: Line
    record: BoxRecord
    view: dict[str, Any]
    words: Words
    sequence: dict[str, Any]
    where: Whereabouts

    @property
    def next(self) -> Next | None:
        record = self.record
        labelled = record.on == "current"
        return next_of(self.where.place, signed=record.signed, labelled=labelled, outcome=record.outcome)


@dataclass(frozen=True)
class Placed:
    """A box as it stands in the list of all boxes, its visit not judged."""

    line: Line
    where: Whereabouts


class Desk:
    """Calls block; pages make them in a worker thread. `address` is scheme and host of a label's symbol.

    `overdue_days` at the laboratory are too many; `now` tells the time.
    """

    def __init__(
        self,
        register: Register,
        clinic: Callable[[], ClinicDocument],
        address: Callable[[], str],
        size: tuple[float, float],
        write: Write,
        sheet: Sheet | None = None,
        paper: Paper = "a4",
        overdue_days: int = 14,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.size = size
        self.sheet = sheet or sheet_from(None, size)
        self.paper = paper
        self.clinic = clinic
        self.now = now
        self._overdue_days = overdue_days
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

    def places(self) -> dict[str, list[Placed]]:
        """Every box under the place where it is; those longest there first, of the finished the latest."""
        found: dict[str, list[Placed]] = {place: [] for place in PLACES}
        now, today = self._time()
        for line in self._register.lines():
            where = whereabouts(line, now, today, self._overdue_days)
            found.setdefault(where.place, []).append(Placed(line, where))
        for place, boxes in found.items():
            boxes.sort(key=lambda box: box.where.since, reverse=place == "finished")
        return found

    def find(self, typed: str) -> list[Box]:
        """The boxes with this code. Raises CodeError, with suggestions, for a slip and for a code nobody has here."""
        code = parse(typed, self._register.codes())
        lines = self._register.with_code(code)
        if not lines:
            raise CodeError(f"box {shown(code)} is a code without a slip, but no visit here has it")
        return [box for line in lines if (box := self._box(line))]

    def again(self, box: Box) -> Box:
        """The box as it is by now."""
        return next(fresh for fresh in self.find(box.record.code) if fresh.line.visit == box.line.visit)

    def layout(self, box: Box) -> Layout:
        """Raises NoSignature or LabelError."""
        return lay_out(label_for(box.record, self._address(), self.clinic()), self.size)

    def prescription(self, box: Box) -> Prescription:
        """Raises NoSignature."""
        record, clinic = box.record, self.clinic()
        view = self._register.view(box.line.visit, record.language)
        return prescription_of(record, view, box.sequence, clinic, self._address())

    def printed(self, box: Box, author: str, reason: str | None, what: What = "label") -> None:
        """Record that a label or a prescription was made. Raises NoSignature."""
        signature_for(box.record, what)
        self._write(box.line.visit, "printed", what, printed_value(box.record, reason, what), author)

    def move(self, box: Box, to: str, author: str) -> None:
        """Record that the box went there. Raises NoSignature: nothing leaves the clinic before it is signed."""
        if to == "laboratory" and box.where.place == HERE:
            signature_for(box.record, "box that is sent")
        if to == box.where.place:
            raise MoveError(f"box {shown(box.record.code)}: it is there already ({PLACES[to].lower()})")
        self._write(box.line.visit, "movement", "box", {"to": to}, author)

    def take_back(self, box: Box, author: str) -> None:
        """Undo the last movement, by a further entry. Raises MoveError when there is none."""
        if not box.record.moved:
            raise MoveError(f"box {shown(box.record.code)}: it was not moved yet, there is nothing to take back")
        self._write(box.line.visit, "movement", "box", {"undoes": box.record.moved[-1]["id"]}, author)

    def want(self, box: Box, day: str, author: str) -> None:
        """Record the day the box is wanted back, 2026-12-31; "" for none any longer. Raises MoveError."""
        if day and not is_date(day):
            raise MoveError(f"Wanted by {day!r}: write a day such as 2026-12-31")
        if (day or None) != box.record.wanted:
            self._write(box.line.visit, "movement", "box", {"wanted": day or None}, author)

    def packing(self, box: Box) -> dict[str, Any]:
        """What is recorded of the packing, by item; the list is [] and everything else None where nothing is."""
        state = box.view["state"]["items"]
        recorded = {item: state[item]["value"] for item in PACKING if item in state}
        return {**dict.fromkeys(PACKING), **recorded, "packing.items": recorded.get("packing.items") or []}

    def pack(self, box: Box, given: dict[str, Any], author: str) -> None:
        """Record what is packed where it differs from what is recorded. Raises PackingError, and then keeps nothing."""
        recorded = self.packing(box)
        changed = {item: value for item, typed in given.items() if (value := _packed(item, typed)) != recorded[item]}
        for item, value in changed.items():
            if fault := check_entry(
                box.sequence, {"kind": "answer", "item": item, "value": value}, box.record.language
            ):
                why = fault["why"].replace(item, box.words(f"item.{item}.label"))
                raise PackingError(f"{why}: {fault['do']}")
        for item, value in changed.items():
            self._write(box.line.visit, "answer", item, value, author)

    def note_outcome(self, box: Box, outcome: Outcome, author: str) -> None:
        """Record what the try-in showed. Raises OutcomeError for a form that is not filled in."""
        self._write(box.line.visit, "outcome", ITEM, outcome.value(), author)

    def _box(self, line: Line) -> Box | None:
        """None while the sequence it was opened with has not reached this node."""
        try:
            view, sequence = self._register.view(line.visit), self._register.sequence(line.visit)
        except NoSequence:
            return None
        words = words_of(sequence, view["state"]["opened"]["language"])
        return Box(line, box_record(view, words), view, words, sequence, self._whereabouts(line))

    def _whereabouts(self, line: Line) -> Whereabouts:
        return whereabouts(line, *self._time(), self._overdue_days)

    def _time(self) -> tuple[datetime, date]:
        """Now, and which day it is at the clinic."""
        now = self.now()
        return now, local(now.isoformat(), self.clinic()).date()


def _packed(item: str, typed: Any) -> Any:
    """The value of what was typed; what is no number stays as it is, for the check to refuse by name."""
    if not isinstance(typed, str):
        return typed
    text = typed.strip()
    if item != "packing.minutes" or not text:
        return text or None
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return text


def file_of(layout: Layout, kind: Kind, dpi: int, at: datetime) -> bytes:
    """The label as a file of this kind; `at` dates the PDF, `dpi` is the printer's for PNG."""
    if kind == "svg":
        return draw.svg(layout).encode()
    return draw.png(layout, dpi) if kind == "png" else draw.pdf(layout, at)
