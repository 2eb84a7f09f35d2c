"""One layout, three ways on paper: SVG for the page and its print, PNG for label printers, PDF for everything else."""

import json
from datetime import UTC, datetime
from functools import cache
from html import escape
from importlib.resources import files
from io import BytesIO

import typst
from PIL import Image, ImageDraw, ImageFont

from chairapp.box.errors import LabelError
from chairapp.box.label import QUIET_ZONE, Bar, Layout, Symbol, Words
from chairapp.box.label_fonts import FONTS, font_file

__all__ = ["DPI", "pdf", "png", "sheet_fonts", "svg", "symbol_svg"]

DPI = (203, 300)
_INCH = 25.4


def svg(layout: Layout) -> str:
    """The label as one SVG document, sized in millimetres.

    Text stays text; where our font is missing another is fitted to the same width, so nothing runs off the label.
    """
    marks = [_svg_symbol(layout.symbol), *map(_svg_bar, layout.bars), *map(_svg_words, layout.words)]
    size = f'width="{layout.width:g}mm" height="{layout.height:g}mm" viewBox="0 0 {layout.width:g} {layout.height:g}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img" lang="{escape(layout.language)}">'
        f"<title>{escape(layout.title)}</title>"
        '<rect width="100%" height="100%" fill="#fff"/>'
        f'<g fill="#000" font-family="DejaVu Sans Condensed, Arial Narrow, sans-serif">{"".join(marks)}</g></svg>'
    )


def png(layout: Layout, dpi: int) -> bytes:
    """The label in black and white for a printer of 203 or 300 dots an inch; every module is whole dots."""
    if dpi not in DPI:
        raise LabelError(f"dpi {dpi}: label printers have 203 or 300")
    dots = dpi / _INCH
    picture = Image.new("1", (round(layout.width * dots), round(layout.height * dots)), 1)
    pen = ImageDraw.Draw(picture)
    pen.fontmode = "1"
    _png_symbol(pen, layout.symbol, dots)
    for bar in layout.bars:
        x, y = round(bar.x * dots), round(bar.y * dots)
        wide, high = max(1, round(bar.width * dots)), max(1, round(bar.height * dots))
        pen.rectangle((x, y, x + wide - 1, y + high - 1), fill=0)
    for words in layout.words:
        font = ImageFont.truetype(FONTS / font_file(words.bold), words.size * dots)
        pen.text((round(words.x * dots), round(words.y * dots)), words.text, fill=0, font=font, anchor="ls")
    file = BytesIO()
    picture.save(file, "PNG", dpi=(dpi, dpi))
    return file.getvalue()


def pdf(layout: Layout, at: datetime) -> bytes:
    """A tagged PDF/A-2a and PDF/UA-1; the same layout and `at` give the same bytes.

    What people typed reaches the template as data only, never as markup.
    """
    data = {
        "width": layout.width,
        "height": layout.height,
        "title": layout.title,
        "language": layout.language,
        "symbol": {
            "svg": symbol_svg(layout.symbol),
            "x": layout.symbol.x,
            "y": layout.symbol.y,
            "side": _side(layout.symbol),
            "alt": f"QR: {layout.symbol.payload}",
        },
        "bars": [vars(bar) for bar in layout.bars],
        "words": [vars(words) for words in layout.words],
    }
    made = typst.compile(
        files("chairapp.box").joinpath("label.typ").read_bytes(),
        font_paths=sheet_fonts(),
        format="pdf",
        sys_inputs={"label": json.dumps(data)},
        pdf_standards=["a-2a", "ua-1"],
        timestamp=int(at.astimezone(UTC).timestamp()),
    )
    assert isinstance(made, bytes)  # noqa: S101 - a list only when pages are asked for one by one
    return made


@cache
def sheet_fonts() -> typst.Fonts:
    """Ours and no other, so that every machine sets the same lines."""
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONTS)])


def _side(symbol: Symbol) -> float:
    return (len(symbol.rows) + 2 * QUIET_ZONE) * symbol.module


def _svg_symbol(symbol: Symbol) -> str:
    corner = f"translate({_n(symbol.x)} {_n(symbol.y)}) scale({_n(symbol.module)})"
    return f'<path transform="{corner}" shape-rendering="crispEdges" d="{_outline(symbol)}"/>'


def symbol_svg(symbol: Symbol) -> str:
    side = len(symbol.rows) + 2 * QUIET_ZONE
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}"><path d="{_outline(symbol)}"/></svg>'


def _outline(symbol: Symbol) -> str:
    """Every run of dark modules as one rectangle, in modules, the quiet zone left free."""
    return "".join(f"M{x + QUIET_ZONE} {y + QUIET_ZONE}h{run}v1h-{run}z" for x, y, run in _runs(symbol))


def _runs(symbol: Symbol) -> list[tuple[int, int, int]]:
    runs: list[tuple[int, int, int]] = []
    for y, row in enumerate(symbol.rows):
        start = None
        for x, dark in enumerate((*row, False)):
            if dark and start is None:
                start = x
            elif not dark and start is not None:
                runs.append((start, y, x - start))
                start = None
    return runs


def _svg_bar(bar: Bar) -> str:
    return f'<rect x="{_n(bar.x)}" y="{_n(bar.y)}" width="{_n(bar.width)}" height="{_n(bar.height)}"/>'


def _svg_words(words: Words) -> str:
    weight = ' font-weight="700"' if words.bold else ""
    place = f'x="{_n(words.x)}" y="{_n(words.y)}" font-size="{_n(words.size)}"{weight}'
    return f'<text {place} textLength="{_n(words.width)}" lengthAdjust="spacingAndGlyphs">{escape(words.text)}</text>'


def _png_symbol(pen: ImageDraw.ImageDraw, symbol: Symbol, dots: float) -> None:
    module = max(1, round(symbol.module * dots))
    left, top = round(symbol.x * dots) + QUIET_ZONE * module, round(symbol.y * dots) + QUIET_ZONE * module
    for x, y, run in _runs(symbol):
        x, y = left + x * module, top + y * module
        pen.rectangle((x, y, x + run * module - 1, y + module - 1), fill=0)


def _n(number: float) -> str:
    return f"{number:.3f}".rstrip("0").rstrip(".")
