"""Labels as printers and pockets leave them, and the two decoders that read them: zxing-cpp and zbar."""

import random
from io import BytesIO

import zxingcpp
from PIL import Image, ImageDraw, ImageFilter

from chairapp.box import draw
from chairapp.box.label import QUIET_ZONE, Label, Layout, lay_out

try:
    from pyzbar import pyzbar
except ImportError:  # the shared library libzbar.so.0 is not on this machine
    pyzbar = None

WHY_NO_ZBAR = "zbar's shared library is not on this machine (Debian: libzbar0)"
LOST = 0.10
"""Share of the data area: the symbol without its three finder squares."""
_FINDER = 8

LABEL = Label(
    code="7KQ4M2X9",
    address="https://rims.example",
    date="2026-11-25",
    chair="2",
    packed=("upper rim", "lower rim", "record"),
    disinfected="high level, 10 min",
    digest="3f9a1c2b77d0",
)


def printed(dpi: int, label: Label = LABEL) -> tuple[Image.Image, Layout]:
    layout = lay_out(label)
    return Image.open(BytesIO(draw.png(layout, dpi))).convert("L"), layout


def turned(picture: Image.Image, degrees: float) -> Image.Image:
    return picture.rotate(degrees, Image.Resampling.BICUBIC, expand=True, fillcolor=255)


def blurred(picture: Image.Image, dots: float) -> Image.Image:
    return picture.filter(ImageFilter.GaussianBlur(dots))


def with_loss(picture: Image.Image, layout: Layout, dpi: int, chance: random.Random) -> Image.Image:
    """Blots of ink or bare paper over a tenth of the data area, in pieces of a few modules."""
    hurt, modules = picture.copy(), len(layout.symbol.rows)
    pen, dots = ImageDraw.Draw(hurt), max(1, round(layout.symbol.module * dpi / 25.4))
    left = round(layout.symbol.x * dpi / 25.4) + QUIET_ZONE * dots
    top = round(layout.symbol.y * dpi / 25.4) + QUIET_ZONE * dots
    data = {(x, y) for x in range(modules) for y in range(modules) if not _in_finder(x, y, modules)}
    lost: set[tuple[int, int]] = set()
    while len(lost) < round(LOST * len(data)):
        x, y, side = chance.randrange(modules), chance.randrange(modules), chance.randint(2, 6)
        blot = {(i, j) for i in range(x, x + side) for j in range(y, y + side)} & data
        fill = chance.choice((0, 255))
        for i, j in sorted(blot - lost)[: round(LOST * len(data)) - len(lost)]:
            lost.add((i, j))
            corner = (left + i * dots, top + j * dots)
            pen.rectangle((*corner, corner[0] + dots - 1, corner[1] + dots - 1), fill=fill)
    return hurt


def damaged(dpi: int, number: int, seed: int = 1) -> list[Image.Image]:
    """Every one has lost a tenth of its data area; of four, one more is turned, one blurred, one both."""
    chance = random.Random(f"{seed} {dpi}")
    picture, layout = printed(dpi)
    made = []
    for n in range(number):
        one = with_loss(picture, layout, dpi, chance)
        if n % 2:
            one = turned(one, chance.uniform(-180, 180))
        if n % 4 > 1:
            one = blurred(one, chance.uniform(0.5, 0.3 * layout.symbol.module * dpi / 25.4))
        made.append(one)
    return made


def by_zxing(picture: Image.Image) -> list[str]:
    return [found.text for found in zxingcpp.read_barcodes(picture)]


def by_zbar(picture: Image.Image) -> list[str]:
    return [found.data.decode() for found in pyzbar.decode(picture, symbols=[pyzbar.ZBarSymbol.QRCODE])]


def _in_finder(x: int, y: int, modules: int) -> bool:
    far = modules - _FINDER
    return (x < _FINDER and (y < _FINDER or y >= far)) or (x >= far and y < _FINDER)
