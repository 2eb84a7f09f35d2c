"""A4 sheets of labels: how many are on one, and a label moved to its place there."""

import re
from dataclasses import dataclass, replace

from chairapp.box.errors import LabelError
from chairapp.box.label import Layout

__all__ = ["A4", "Sheet", "on_sheet", "sheet_from"]

A4 = (210.0, 297.0)
_FORM = re.compile(r"(\d{1,2})x(\d{1,2})(?:\+(\d{1,2}(?:\.\d)?)\+(\d{1,2}(?:\.\d)?))?")


@dataclass(frozen=True)
class Sheet:
    """Labels of one size in the middle of an A4 sheet, `gap` (across, down) in mm between them."""

    columns: int
    rows: int
    gap: tuple[float, float]
    size: tuple[float, float]

    @property
    def places(self) -> int:
        return self.columns * self.rows

    def corner(self, place: int) -> tuple[float, float]:
        """Upper left corner in mm of a place, numbered from 1 along the rows."""
        if not 1 <= place <= self.places:
            raise LabelError(f"place {place}: the sheet has places 1 to {self.places}")
        column, row = (place - 1) % self.columns, (place - 1) // self.columns
        margins = [(paper - needed) / 2 for paper, needed in zip(A4, self._needed(), strict=True)]
        return margins[0] + column * (self.size[0] + self.gap[0]), margins[1] + row * (self.size[1] + self.gap[1])

    def fits(self) -> bool:
        return all(needed <= paper for needed, paper in zip(self._needed(), A4, strict=True))

    def _needed(self) -> tuple[float, float]:
        return (
            self.columns * self.size[0] + (self.columns - 1) * self.gap[0],
            self.rows * self.size[1] + (self.rows - 1) * self.gap[1],
        )


def sheet_from(text: str | None, size: tuple[float, float]) -> Sheet:
    """The sheet of a setting such as `3x8`, or `3x7+2.5+0` with gaps in mm; without one as many labels as fit.

    Raises LabelError for a text that is none, and for labels that do not fit the sheet.
    """
    if text is None:
        return Sheet(int(A4[0] // size[0]), int(A4[1] // size[1]), (0.0, 0.0), size)
    match = _FORM.fullmatch(text.strip().lower())
    if match is None or "0" in match.group(1, 2):
        raise LabelError(f"label sheet {text!r}: write columns x rows such as 3x8, with gaps in mm such as 3x7+2.5+0")
    sheet = Sheet(int(match[1]), int(match[2]), (float(match[3] or 0), float(match[4] or 0)), size)
    if not sheet.fits():
        raise LabelError(f"label sheet {text}: labels of {size[0]:g} x {size[1]:g} mm do not fit A4 so, set label_size")
    return sheet


def on_sheet(layout: Layout, sheet: Sheet, place: int) -> Layout:
    """The label at this place of an otherwise empty A4 sheet."""
    x, y = sheet.corner(place)
    return replace(
        layout,
        width=A4[0],
        height=A4[1],
        symbol=replace(layout.symbol, x=layout.symbol.x + x, y=layout.symbol.y + y),
        words=tuple(replace(words, x=words.x + x, y=words.y + y) for words in layout.words),
        bars=tuple(replace(bar, x=bar.x + x, y=bar.y + y) for bar in layout.bars),
    )
