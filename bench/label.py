"""Printed labels read back by two decoders: clean, turned, blurred, and 200 that lost a tenth of the data area."""

from collections.abc import Callable

from PIL import Image

from bench import Row
from tests.box.damage import blurred, by_zbar, by_zxing, damaged, printed, pyzbar, turned

DAMAGED = 200
WANTED = 0.8
DEGREES = range(0, 360, 15)
BLUR = [step / 10 for step in range(2, 17, 2)]
ADDRESS = "HTTPS://RIMS.EXAMPLE/B/7KQ4M2X9"
Decoder = Callable[[Image.Image], list[str]]


def run() -> list[Row]:
    decoders: dict[str, Decoder] = {"zxing-cpp": by_zxing} | ({"zbar": by_zbar} if pyzbar else {})
    return [row for dpi in (203, 300) for row in (*_whole(dpi, decoders), *_damaged(dpi, decoders))]


def _whole(dpi: int, decoders: dict[str, Decoder]) -> list[Row]:
    picture, _ = printed(dpi)
    turns = [turned(picture, degrees) for degrees in DEGREES]
    blurs = [blurred(picture, dots * dpi / 203) for dots in BLUR]
    rows = []
    for what, pictures in (("turned by 15 to 345 deg", turns), ("blurred by up to 0.4 modules", blurs)):
        rows += [_row(f"{dpi} dpi, {what}, {name}", pictures, [read], None) for name, read in decoders.items()]
    return rows


def _damaged(dpi: int, decoders: dict[str, Decoder]) -> list[Row]:
    pictures = damaged(dpi, DAMAGED // 2)
    what = f"{dpi} dpi, a tenth lost"
    rows = [_row(f"{what}, {name}", pictures, [read], None) for name, read in decoders.items()]
    return [*rows, _row(f"{what}, by either", pictures, list(decoders.values()), f">= {WANTED}")]


def _row(what: str, pictures: list[Image.Image], decoders: list[Decoder], gate: str | None) -> Row:
    read = sum(any(ADDRESS in decode(picture) for decode in decoders) for picture in pictures)
    share = read / len(pictures)
    return Row(what, 100 * share, "% read", share, f"{len(pictures)} pictures", gate or "")
