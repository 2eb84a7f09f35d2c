"""A4 sheets of labels: the label stands where the free one is, and nowhere else."""

from io import BytesIO

import pytest
import zxingcpp
from PIL import Image

from chairapp.box import draw
from chairapp.box.errors import LabelError
from chairapp.box.label import lay_out
from chairapp.box.sheet import A4, on_sheet, sheet_from
from tests.box.damage import LABEL


@pytest.mark.parametrize(
    ("text", "size", "places"), [(None, (57, 32), 27), ("3x8", (70, 37), 24), ("3x7+2.5+0", (63.5, 38.1), 21)]
)
def test_every_place_of_a_sheet_lies_on_the_paper_and_clear_of_the_others(text, size, places):
    sheet = sheet_from(text, size)
    assert sheet.places == places
    corners = [sheet.corner(place) for place in range(1, places + 1)]
    assert len(set(corners)) == places
    for x, y in corners:
        assert 0 <= x <= A4[0] - size[0] + 1e-9
        assert 0 <= y <= A4[1] - size[1] + 1e-9
    for x, y in corners[1:]:
        assert abs(x - corners[0][0]) >= size[0] - 1e-9 or abs(y - corners[0][1]) >= size[1] - 1e-9


def test_a_label_is_printed_at_the_place_that_was_chosen():
    sheet = sheet_from("3x8", (70, 37))
    layout = on_sheet(lay_out(LABEL, (70, 37)), sheet, 5)
    picture = Image.open(BytesIO(draw.png(layout, 203))).convert("L")
    assert [round(side / 203 * 25.4) for side in picture.size] == [210, 297]
    (found,) = zxingcpp.read_barcodes(picture)
    x, y = (found.position.top_left.x / 203 * 25.4, found.position.top_left.y / 203 * 25.4)
    left, top = sheet.corner(5)
    assert left < x < left + 70
    assert top < y < top + 37
    ink = picture.point(lambda grey: 255 * (grey < 128)).getbbox()
    assert ink[0] / 203 * 25.4 >= left + 2.8
    assert ink[3] / 203 * 25.4 <= top + 37 - 2.8


@pytest.mark.parametrize("place", [0, 25])
def test_a_place_that_is_not_on_the_sheet_is_refused(place):
    with pytest.raises(LabelError, match="places 1 to 24"):
        sheet_from("3x8", (70, 37)).corner(place)


@pytest.mark.parametrize(
    ("text", "says"), [("three", "write columns x rows"), ("0x8", "write columns x rows"), ("4x8", "do not fit A4")]
)
def test_a_sheet_that_is_none_is_refused_by_name(text, says):
    with pytest.raises(LabelError, match=f"label sheet.*{says}"):
        sheet_from(text, (57, 32))
