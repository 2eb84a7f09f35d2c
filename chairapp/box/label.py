"""The label of a case box: what stands on it and where. `draw.py` turns the layout into SVG, PNG and PDF.

Nothing here says who the patient is. Lengths are millimetres from the label's upper left corner.
"""

import re
from dataclasses import dataclass
from functools import cache
from typing import Literal

import qrcode
from PIL import ImageFont
from qrcode.constants import ERROR_CORRECT_H
from qrcode.util import QRData

from chairapp.box.code import LENGTH, shown
from chairapp.box.errors import LabelError
from chairapp.box.label_fonts import FONTS, font_file
from chairapp.box.paper_words import PaperWords, words_in
from chairapp.box.writable import writable

__all__ = ["Bar", "Label", "Layout", "Symbol", "Words", "lay_out", "payload", "size_from", "symbol_fits", "symbol_of"]

DIGEST_SHOWN = 8
LONGEST_PAYLOAD = 35
QUIET_ZONE = 4

_SMALLEST = (57.0, 32.0)
_CLEAR = 3.0
_MODULE = 0.5
_LEFT = 21.2
"""Width kept for the symbol with its quiet zone; at 300 dpi a module of whole dots is 0.508 mm, 18.8 mm in all."""
_ALPHANUMERIC_MODE: Literal[2] = 2
"""qrcode.util.MODE_ALPHA_NUM, of which the type checker knows only that it is a number."""
_ALPHANUMERIC = re.compile(r"[0-9A-Z $%*+\-./:]+")


@dataclass(frozen=True)
class Label:
    """What a label says. `date` as YYYY-MM-DD in the clinic's time zone, `packed` and `disinfected` in words."""

    code: str
    address: str
    date: str
    chair: str
    packed: tuple[str, ...]
    disinfected: str | None
    digest: str
    language: str = "en"


@dataclass(frozen=True)
class Words:
    """A line of text: left end, baseline, size of the em, width as measured in our font."""

    x: float
    y: float
    size: float
    text: str
    bold: bool
    width: float


@dataclass(frozen=True)
class Bar:
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Symbol:
    """A QR symbol; x, y is the corner of its quiet zone, `rows` the dark modules without it."""

    x: float
    y: float
    module: float
    rows: tuple[tuple[bool, ...], ...]
    payload: str


@dataclass(frozen=True)
class Layout:
    width: float
    height: float
    title: str
    language: str
    symbol: Symbol
    words: tuple[Words, ...]
    bars: tuple[Bar, ...]


def size_from(text: str) -> tuple[float, float]:
    """Width and height in mm from a setting such as `57x32`."""
    match = re.fullmatch(r"(\d{2,3}(?:\.\d)?)x(\d{2,3}(?:\.\d)?)", text.strip().lower())
    if match is None:
        raise LabelError(f"label size {text!r}: write width x height in mm, such as 57x32")
    width, height = float(match[1]), float(match[2])
    if width < _SMALLEST[0] or height < _SMALLEST[1]:
        raise LabelError(f"label size {text}: at least 57x32 mm, or the symbol and the words do not fit")
    return width, height


def payload(address: str, code: str) -> str:
    """What the symbol holds: an upper-case URL of the box page, or the code alone where that is too long.

    `address` is scheme and host, `https://rims.example`. A URL of up to 35 characters from the alphanumeric set
    keeps the symbol at version 3 with error correction H (29 modules); a longer or odd one falls back to version 1.
    """
    url = f"{address}/B/{code}".upper()
    return url if len(url) <= LONGEST_PAYLOAD and _ALPHANUMERIC.fullmatch(url) else code


def symbol_fits(address: str) -> bool:
    """Whether the symbol of a label holds this address, or the code of the box alone."""
    code = "0" * LENGTH
    return payload(address, code) != code


def lay_out(label: Label, size: tuple[float, float] = _SMALLEST) -> Layout:
    """Where everything stands on a label of this size. A larger label carries everything larger.

    The scale goes in quarters, so that modules stay whole dots at 203 dpi. Raises LabelError when the texts do not fit.
    """
    scale = int(4 * min(size[0] / _SMALLEST[0], size[1] / _SMALLEST[1])) / 4
    width, height = size[0] / scale, size[1] / scale
    words = _under_the_symbol(label) + _beside_the_symbol(label, width - 2 * _CLEAR - _LEFT, height)
    enlarged = tuple(Words(w.x * scale, w.y * scale, w.size * scale, w.text, w.bold, w.width * scale) for w in words)
    return Layout(
        *size,
        shown(label.code),
        label.language,
        symbol_of(label.address, label.code, scale),
        enlarged,
        _check_line(scale),
    )


def symbol_of(address: str, code: str, scale: float = 1.0) -> Symbol:
    """The QR symbol of a box where a label has it; `scale` enlarges it with the label."""
    text = payload(address, code)
    drawing = qrcode.QRCode(version=1 if text == code else 3, error_correction=ERROR_CORRECT_H, border=0)
    drawing.add_data(QRData(text, mode=_ALPHANUMERIC_MODE))
    drawing.make(fit=False)
    rows = tuple(tuple(bool(module) for module in row) for row in drawing.get_matrix())
    corner = _CLEAR + (18.5 - (len(rows) + 2 * QUIET_ZONE) * _MODULE) / 2
    return Symbol(corner * scale, corner * scale, _MODULE * scale, rows, text)


def _under_the_symbol(label: Label) -> list[Words]:
    text = shown(label.code)
    return [
        _code(_CLEAR + 2, 23.9, 2.75, text, _LEFT - 3),
        _words(_CLEAR + 0.7, 28.7, 1.8, words_in(label.language)("label.scale")),
    ]


def _check_line(scale: float) -> tuple[Bar, ...]:
    """20 mm from the left edge of the first tick to the right edge of the last, however large the label."""
    left, top, thick = _CLEAR * scale, 26.0 * scale, 0.25
    ticks = [Bar(left, top - 0.75, thick, 1.75), Bar(left + 20 - thick, top - 0.75, thick, 1.75)]
    return (Bar(left, top, 20, thick), *ticks)


def _beside_the_symbol(label: Label, width: float, height: float) -> list[Words]:
    """The code large, then the paragraphs in the largest of a few sizes that fits."""
    left, say = _CLEAR + _LEFT, words_in(label.language)
    code = _code(left, 7.1, 4.9, shown(label.code), width)
    for em in (2.5, 2.3, 2.1, 1.9):
        lines = _set(_paragraphs(label, say), left, width, em)
        if lines[-1].y <= height - _CLEAR:
            return [code, *lines]
    raise LabelError("the label's texts do not fit: shorten the name of the chair, or set a larger label_size")


def _set(paragraphs: list[tuple[str, bool]], left: float, width: float, em: float) -> list[Words]:
    lines, y = [], 8.2
    for text, bold in paragraphs:
        y += 0.2 * em
        for line in _wrapped(text, width, em, bold):
            y += 1.12 * em
            lines.append(_words(left, y, em, line, bold=bold))
    return lines


def _paragraphs(label: Label, say: PaperWords) -> list[tuple[str, bool]]:
    packed = say("label.packed", items=", ".join(label.packed)) if label.packed else say("label.nothing")
    if label.disinfected:
        disinfection = (say("label.disinfected", how=label.disinfected), False)
    else:
        disinfection = (say("label.contaminated"), True)
    chair = say("label.chair", chair=label.chair) if label.chair.isdecimal() else label.chair
    when = writable(f"{label.date} · {chair}")
    return [
        (when, False),
        (packed, False),
        disinfection,
        (say("label.record", digest=label.digest[:DIGEST_SHOWN]), False),
    ]


def _wrapped(text: str, width: float, size: float, bold: bool) -> list[str]:
    lines = [""]
    for word in (part for whole in text.split() for part in _pieces(whole, width, size, bold)):
        longer = f"{lines[-1]} {word}".strip()
        if _width(longer, size, bold) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _pieces(word: str, width: float, size: float, bold: bool) -> list[str]:
    """A word too wide for the line is cut, so that nothing ever runs off the label."""
    pieces = [""]
    for character in word:
        if _width(pieces[-1] + character, size, bold) > width:
            pieces.append("")
        pieces[-1] += character
    return pieces


def _words(x: float, y: float, size: float, text: str, *, bold: bool = False) -> Words:
    return Words(x, y, size, text, bold, _width(text, size, bold))


def _code(x: float, y: float, size: float, code: str, width: float) -> Words:
    """The code as large as it fits: one with many a W and M is half as wide again as another."""
    return _words(x, y, min(size, size * width / _width(code, size, True)), code, bold=True)


def _width(text: str, size: float, bold: bool) -> float:
    return _font(bold).getlength(text) / 100 * size


@cache
def _font(bold: bool) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(FONTS / font_file(bold), 100)
