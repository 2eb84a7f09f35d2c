"""The mark of the tablet page: two rims seen from the front, one above the other, and three ticks across both.

`python -m chairapp.tablet.icons` draws the PNG files anew into `icons/`; they are committed, so that no machine draws
its own and every release has the same bytes.
"""

from importlib.resources import files
from pathlib import Path

from PIL import Image, ImageDraw

__all__ = ["PNGS", "draw", "png", "svg"]

PAPER, RIM, TICK = "#0b4f5c", "#f4d9c6", "#ffffff"
RIMS = ((18, 34, 82, 46), (18, 54, 82, 66))
TICKS = ((30, 26, 34, 74), (48, 26, 52, 74), (66, 26, 70, 74))
CORNER = 4
"""Left, top, right, bottom in hundredths of the side; both lie inside the circle that a maskable icon keeps."""

PNGS = {"mark-192.png": (192, False), "mark-512.png": (512, False), "mark-maskable-512.png": (512, True)}
"""File -> (side in pixels, whether the paper fills the square for a mask to cut)."""

_FINER = 4


def svg(title: str = "Threemark") -> str:
    """The mark as one SVG element."""
    rims = "".join(_rect(box, RIM, CORNER) for box in RIMS)
    ticks = "".join(_rect(box, TICK, 2) for box in TICKS)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100" role="img" aria-label="{title}">'
        f"{_rect((0, 0, 100, 100), PAPER, 20)}{rims}{ticks}</svg>"
    )


def draw(side: int, maskable: bool) -> Image.Image:
    """The same as pixels, drawn four times as large and made smaller for smooth edges."""
    large = side * _FINER
    image = Image.new("RGBA", (large, large), (0, 0, 0, 0))
    pen = ImageDraw.Draw(image)
    pen.rounded_rectangle((0, 0, large, large), 0 if maskable else large * 0.2, fill=PAPER)
    for boxes, colour, corner in ((RIMS, RIM, CORNER), (TICKS, TICK, 2)):
        for box in boxes:
            pen.rounded_rectangle([part * large / 100 for part in box], corner * large / 100, fill=colour)
    return image.resize((side, side), Image.Resampling.LANCZOS)


def png(name: str) -> bytes:
    """A committed PNG of the mark."""
    return (files("chairapp.tablet") / "icons" / name).read_bytes()


def _rect(box: tuple[float, float, float, float], colour: str, corner: float) -> str:
    left, top, right, bottom = box
    size = f'width="{right - left}" height="{bottom - top}" rx="{corner}"'
    return f'<rect x="{left}" y="{top}" {size} fill="{colour}"/>'


if __name__ == "__main__":
    folder = Path(__file__).parent / "icons"
    folder.mkdir(exist_ok=True)
    for name, (side, maskable) in PNGS.items():
        draw(side, maskable).save(folder / name, optimize=True)
