"""The label: what stands on it, that it can be read back, that nothing typed can break it."""

import re
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import UTC, datetime
from io import BytesIO
from shutil import which

import pytest
import zxingcpp
from PIL import Image

from chairapp.box import draw
from chairapp.box.errors import LabelError
from chairapp.box.label import lay_out, payload, size_from
from chairapp.sequence import jaw_relation
from tests.box.damage import LABEL

AT = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
EVERYTHING = (
    "upper rim",
    "lower rim",
    "upper cast",
    "lower cast",
    "record",
    "face bow",
    "photographs",
    "shade tab",
)
TEXTS = jaw_relation().texts
NASTY = '<script>alert(1)</script> #panic("x") & "\' \\ $x$ ]'


@pytest.fixture
def label():
    return LABEL


def texts(layout):
    return [words.text for words in layout.words]


def read_back(picture):
    return [(found.text, found.ec_level) for found in zxingcpp.read_barcodes(picture.convert("L"))]


@pytest.mark.parametrize("dpi", [203, 300])
@pytest.mark.parametrize("address", ["https://rims.example", "http://127.0.0.1:8080"])
def test_the_printed_symbol_reads_back_as_the_address_of_the_box_page(label, dpi, address):
    picture = Image.open(BytesIO(draw.png(lay_out(replace(label, address=address)), dpi)))
    assert read_back(picture) == [(f"{address}/B/7KQ4M2X9".upper(), "H")]


@pytest.mark.parametrize("dpi", [203, 300])
def test_the_symbol_of_the_pdf_reads_back_when_printed(label, dpi, tmp_path):
    if which("pdftoppm") is None:
        pytest.skip("no pdftoppm here to render a PDF")
    (tmp_path / "label.pdf").write_bytes(draw.pdf(lay_out(label), AT))
    subprocess.run(["pdftoppm", "-r", str(dpi), "-png", "label.pdf", "label"], cwd=tmp_path, check=True)
    assert read_back(Image.open(tmp_path / "label-1.png")) == [("HTTPS://RIMS.EXAMPLE/B/7KQ4M2X9", "H")]


def test_an_address_that_does_not_fit_leaves_the_code_alone_in_a_smaller_symbol(label):
    long = replace(label, address="https://threemark.practice-on-the-hill.example")
    assert payload(long.address, long.code) == "7KQ4M2X9"
    layout = lay_out(long)
    assert len(layout.symbol.rows) == 21
    assert read_back(Image.open(BytesIO(draw.png(layout, 203)))) == [("7KQ4M2X9", "H")]


@pytest.mark.parametrize("address", ["https://rims_example", "https://zähne.example", "https://rims.example?x"])
def test_an_address_outside_the_alphanumeric_set_leaves_the_code_alone(address):
    assert payload(address, "7KQ4M2X9") == "7KQ4M2X9"


def test_an_address_of_exactly_35_characters_still_is_a_version_3_symbol(label):
    host = "https://" + "r" * (35 - len("https://") - len("/b/7KQ4M2X9"))
    assert len(payload(host, label.code)) == 35
    assert len(lay_out(replace(label, address=host)).symbol.rows) == 29
    assert payload(host + "r", label.code) == label.code


@pytest.mark.parametrize(("dpi", "dots"), [(203, 4), (300, 6)])
def test_the_quiet_zone_of_four_modules_is_kept_free_of_ink(label, dpi, dots):
    picture = Image.open(BytesIO(draw.png(lay_out(replace(label, packed=EVERYTHING, disinfected=None)), dpi))).convert(
        "L"
    )
    corner = round(3 * dpi / 25.4)
    zone = picture.crop((corner, corner, corner + 37 * dots, corner + 37 * dots))
    core = zone.crop((4 * dots, 4 * dots, 33 * dots, 33 * dots))
    assert core.histogram()[0] > 0
    assert zone.histogram()[0] == core.histogram()[0]


def test_a_module_is_four_whole_dots_at_203_dpi_and_six_at_300(label):
    layout = lay_out(label)
    for dpi, dots in ((203, 4), (300, 6)):
        picture = Image.open(BytesIO(draw.png(layout, dpi))).convert("L")
        left = round(3 * dpi / 25.4) + 4 * dots
        finder = picture.crop((left, left, left + 8 * dots, left + 1)).tobytes()
        assert finder == b"\x00" * 7 * dots + b"\xff" * dots


@pytest.mark.parametrize("size", [(57, 32), (62, 40), (100, 50), (148, 105)])
@pytest.mark.parametrize("packed", [(), EVERYTHING])
@pytest.mark.parametrize("code", ["7KQ4M2X9", "WMWMWMWM"])
def test_nothing_leaves_the_label_or_touches_its_three_clear_millimetres(label, size, packed, code):
    layout = lay_out(replace(label, packed=packed, disinfected=None, code=code), size)
    assert (layout.width, layout.height) == size
    for words in layout.words:
        assert words.x >= 3
        assert words.x + words.width <= size[0] - 3 + 1e-6
        assert words.y - 0.75 * words.size >= 3
        assert words.y <= size[1] - 3 + 1e-6


@pytest.mark.parametrize("size", [(57, 32), (148, 105)])
def test_the_check_line_is_20_mm_whatever_the_size_of_the_label(label, size):
    line, first, last = lay_out(label, size).bars
    assert line.width == 20
    assert last.x + last.width - first.x == pytest.approx(20)


def test_it_says_the_code_twice_the_date_the_chair_the_items_and_the_record(label):
    said = texts(lay_out(label))
    assert said.count("7KQ4-M2X9") == 2
    together = " ".join(said)
    for part in (
        "2026-11-25",
        "Chair 2",
        "upper rim, lower rim, record",
        "Disinfected: high level, 10 min",
        "3f9a1c2b",
        "20 mm",
    ):
        assert part in together


def test_disinfection_not_recorded_is_said_as_treat_as_contaminated(label):
    together = " ".join(texts(lay_out(replace(label, disinfected=None))))
    assert "not recorded: treat as contaminated" in together


def test_a_packing_list_not_recorded_is_said(label):
    assert "packing list not recorded" in " ".join(texts(lay_out(replace(label, packed=()))))


def test_nothing_typed_is_ever_markup(label):
    nasty = lay_out(replace(label, chair=NASTY))
    drawn = draw.svg(nasty)
    assert "<script" not in drawn
    lines = [node.text for node in ET.fromstring(drawn).iter("{http://www.w3.org/2000/svg}text")]
    assert NASTY.replace(" ", "") in "".join(lines).replace(" ", "")
    assert draw.pdf(nasty, AT).startswith(b"%PDF")


def test_a_character_the_font_lacks_is_shown_as_a_box_and_never_stops_the_label(label):
    layout = lay_out(replace(label, chair="診 2\a"))
    assert "· □ 2□" in " ".join(texts(layout))
    assert draw.pdf(layout, AT).startswith(b"%PDF")


@pytest.mark.parametrize("language", sorted(TEXTS))
@pytest.mark.parametrize("disinfected", [True, False])
def test_the_smallest_label_holds_all_that_can_be_packed_in_every_language(label, language, disinfected):
    words = TEXTS[language]
    packed = tuple(words[key].lower() for key in words if key.startswith("choice.packing.items."))
    agent = f"{words['choice.packing.agent.intermediate'].lower()}, 10 min" if disinfected else None
    layout = lay_out(replace(label, language=language, packed=packed, disinfected=agent, chair="Care home bag"))
    assert len(packed) == len(EVERYTHING)
    assert packed[-1].split()[-1] in " ".join(texts(layout))


def test_texts_that_cannot_fit_are_refused_rather_than_cut(label):
    with pytest.raises(LabelError, match="do not fit"):
        lay_out(replace(label, chair="operatory " * 20))


def test_the_same_record_gives_the_same_bytes(label):
    one, other = lay_out(label), lay_out(label)
    assert draw.pdf(one, AT) == draw.pdf(other, AT)
    assert draw.png(one, 203) == draw.png(other, 203)
    assert draw.svg(one) == draw.svg(other)


def test_the_pdf_says_it_is_tagged_and_archival(label):
    made = draw.pdf(lay_out(label), AT)
    assert re.search(rb"pdfaid:part>2<", made)
    assert b"pdfuaid:part>1<" in made


def test_no_drawing_names_an_outside_host(label):
    for host in re.findall(r'(?:href|src)="([^"]+)"', draw.svg(lay_out(label))):
        pytest.fail(f"the SVG asks for {host}")


def test_the_size_is_read_from_a_setting():
    assert size_from("57x32") == (57, 32)
    assert size_from("62X40.5") == (62, 40.5)


@pytest.mark.parametrize(
    ("text", "says"), [("big", "write width x height"), ("57", "write width"), ("30x20", "at least 57x32")]
)
def test_a_size_that_is_none_is_refused_by_name(text, says):
    with pytest.raises(LabelError, match=f"label size.*{says}"):
        size_from(text)


def test_a_printer_of_another_resolution_is_refused(label):
    with pytest.raises(LabelError, match="203 or 300"):
        draw.png(lay_out(label), 600)
