"""What was printed is read back by two decoders that know nothing of us, also from a label that has suffered."""

import pytest

from tests.box.damage import WHY_NO_ZBAR, blurred, by_zbar, by_zxing, damaged, printed, pyzbar, turned

ADDRESS = "HTTPS://RIMS.EXAMPLE/B/7KQ4M2X9"
with_zbar = pytest.mark.skipif(pyzbar is None, reason=WHY_NO_ZBAR)
BOTH = [pytest.param(by_zxing, id="zxing-cpp"), pytest.param(by_zbar, id="zbar", marks=with_zbar)]


@pytest.mark.parametrize("read", BOTH)
@pytest.mark.parametrize("dpi", [203, 300])
def test_a_clean_a_turned_and_a_blurred_label_read_back_in_either_decoder(dpi, read):
    picture, _ = printed(dpi)
    for one in (picture, turned(picture, 7), turned(picture, 90), turned(picture, 200), blurred(picture, dpi / 203)):
        assert read(one) == [ADDRESS]


@pytest.mark.parametrize("dpi", [203, 300])
def test_four_in_five_labels_that_lost_a_tenth_of_their_data_area_still_read(dpi):
    decoders = [by_zxing] + ([by_zbar] if pyzbar else [])
    pictures = damaged(dpi, 24)
    assert sum(any(ADDRESS in read(one) for read in decoders) for one in pictures) >= 0.8 * len(pictures)
