"""What our font can write. A PDF/A must not hold a character that its font lacks, so it is shown as a box instead."""

import struct
from collections.abc import Iterator
from functools import cache

from chairapp.box.label_fonts import FONTS, font_file

__all__ = ["LACKING", "writable"]

LACKING = "\u25a1"
"""□, in place of a character that the font has no picture of."""
_GROUP = struct.Struct(">III")


def writable(text: str) -> str:
    """The text with line ends and tabs as blanks, and every character the font lacks as LACKING."""
    return "".join(c if ord(c) in _known() else LACKING for c in text.translate({9: " ", 10: " ", 13: " "}))


@cache
def _known() -> frozenset[int]:
    """The characters that both the regular and the bold face have."""
    regular, bold = (frozenset(_characters((FONTS / font_file(bold)).read_bytes())) for bold in (False, True))
    return regular & bold


def _characters(font: bytes) -> Iterator[int]:
    """From the table of whole Unicode (OpenType `cmap`, format 12), which both our fonts have."""
    (tables,) = struct.unpack_from(">H", font, 4)
    directory = (struct.unpack_from(">4sIII", font, 12 + 16 * n) for n in range(tables))
    cmap = next(offset for tag, _, offset, _ in directory if tag == b"cmap")
    (subtables,) = struct.unpack_from(">H", font, cmap + 2)
    for n in range(subtables):
        _, _, offset = struct.unpack_from(">HHI", font, cmap + 4 + 8 * n)
        (form,) = struct.unpack_from(">H", font, cmap + offset)
        if form == 12:
            (groups,) = struct.unpack_from(">I", font, cmap + offset + 12)
            for group in range(groups):
                start, end, _ = _GROUP.unpack_from(font, cmap + offset + 16 + 12 * group)
                yield from range(start, end + 1)
            return
    raise AssertionError("our font has no table of whole Unicode")
