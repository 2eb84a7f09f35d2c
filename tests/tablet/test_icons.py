"""The committed pictures are the mark as it is drawn now."""

import io

import pytest
from PIL import Image, ImageChops

from chairapp.tablet.icons import PNGS, RIMS, TICKS, draw, png


@pytest.mark.parametrize("name", PNGS)
def test_a_committed_picture_is_what_the_drawing_gives(name):
    committed = Image.open(io.BytesIO(png(name))).convert("RGBA")
    drawn = draw(*PNGS[name])
    assert committed.size == drawn.size
    assert max(high for _, high in ImageChops.difference(committed, drawn).getextrema()) <= 8


def test_the_mark_is_three_ticks_across_two_rims():
    assert (len(RIMS), len(TICKS)) == (2, 3)
    for _, top, _, bottom in TICKS:
        assert all(top < rim_top and bottom > rim_bottom for _, rim_top, _, rim_bottom in RIMS)


def test_the_mark_lies_inside_the_circle_a_maskable_icon_keeps():
    for left, top, right, bottom in (*RIMS, *TICKS):
        assert all((x - 50) ** 2 + (y - 50) ** 2 <= 40**2 for x in (left, right) for y in (top, bottom))
