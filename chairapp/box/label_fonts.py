"""The font that labels and prescriptions are set in, shipped with the program."""

from pathlib import Path

__all__ = ["FONTS", "font_file"]

FONTS = Path(__file__).parent / "fonts"


def font_file(bold: bool) -> str:
    return "DejaVuSansCondensed-Bold.ttf" if bold else "DejaVuSansCondensed.ttf"
