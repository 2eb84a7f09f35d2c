"""The prescription: every fact of the record stands on the sheet, as text, tagged, and always in the same bytes."""

import io
import json
import re
import shutil
import subprocess

import pypdf
import pytest
import zxingcpp
from PIL import Image

from chairapp.box import paper_words
from chairapp.box.code import shown
from chairapp.box.errors import NoSignature
from chairapp.box.prescription import pdf, pictures
from chairapp.box.rim_picture import RimMap, rim_map
from chairapp.case import case_of, entries_of
from tests.box.conftest import CASES, CLINIC, SEQUENCE, desk_at, later, only
from tests.pseudo import LANGUAGE, PLACEHOLDER, in_pseudo, plain_words

NASTY = '<script>alert(1)</script> #panic("x") & "\' \\ $x$ ] {page}'


@pytest.fixture
def made(desk, add):
    """The PDF of a demo case's prescription, as pypdf reads it."""

    def made(name="01_all_fits", paper="a4", **changes):
        code = add(name, **changes)[0]["value"]["box"]
        return pypdf.PdfReader(io.BytesIO(pdf(desk.prescription(only(desk.find(code))), paper)))

    return made


def text_of(reader):
    """All text, with every run of blanks and line ends as one blank."""
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


def signature(name):
    raw = json.loads((CASES / f"{name}.json").read_text())
    entries = entries_of(case_of(raw), SEQUENCE, device="tablet")
    return [entry for entry in entries if entry["kind"] == "signature"][-1]


FIELDS = [
    "Prescriber Dr Ada Lindqvist",
    "Licence number INV-10442",
    "Clinic Blue Door Practice",
    "Case box 7KQ4-M2X9",
    "Made 2026-01-01",
    "Wanted no day agreed",
    "The facing surfaces of the rims are where the tooth surfaces shall stand",
    "Upper front height 22 mm",
    "Lower front height 18 mm",
    "Front width 7 mm",
    "Back width 10 mm",
    "Upper inclination 80°",
    "Display at rest",
    "Edge in F and V Touches the wet-dry line",
    "Gaps between the rims 0 mm at all seven places",
    "Interocclusal distance (rest less occlusal) 3 mm; 95 % interval",
    "Alignment marks the front and the molars of both sides",
    "Number of records 3",
    "Midline Marked",
    "Canine lines Marked",
    "Curve between the canine lines 47 mm",
    "18 17 16 15 14 13 12 11 21 22 23 24 25 26 27 28",
    "48 47 46 45 44 43 42 41 31 32 33 34 35 36 37 38",
    "Tooth positions after ISO 3950",
    "Accepted outside its band Nothing: every step fits.",
    "upper rim, lower rim, jaw relation record, face bow",
    "Disinfected: intermediate level, 10 min, by Jon Abara, 2026-01-01 09:",
    "Dr Ada Lindqvist, as clinician, 2026-01-01 09:",
    "Local law decides what a prescription needs",
    "page 1 of",
]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_field_by_field_the_sheet_says_what_the_record_says(made, paper):
    said = text_of(made(box="7KQ4M2X9", paper=paper))
    assert [field for field in FIELDS if field not in said] == []
    assert signature("01_all_fits")["value"]["digest"] in said.replace(" ", "")


def test_what_was_accepted_outside_its_band_is_said_with_its_reason(made):
    said = text_of(made("07_marks_too_close"))
    assert "The marks stand close together: they span 0.15 of the widest triangle, less than 0.4." in said
    assert "Accepted by Dr Tomas Okoro: The rims broke off behind the canines" in said
    assert "The packing list is not recorded." in said
    assert "Disinfected: Not recorded: treat as contaminated" in said


def test_a_supervised_visit_names_the_prescriber_who_is_licensed_and_both_signatures(made):
    said = text_of(made("02_overclosed"))
    assert "Prescriber Dr Ada Lindqvist Licence number INV-10442" in said
    assert "Walked under supervision by Mei Castell" in said
    assert "Mei Castell, as supervised clinician" in said
    assert "Warned that the new height needs a few weeks." in said
    assert "Upper rim, labial face: +1 mm: the front and both canines" in said


def test_the_day_the_work_is_wanted_stands_on_the_sheet(desk, add, the_box):
    add("01_all_fits")
    desk.want(the_box(), "2026-01-20", "asst-1")
    made = pdf(desk.prescription(the_box()), "a4")
    assert "Wanted 2026-01-20" in text_of(pypdf.PdfReader(io.BytesIO(made)))


@pytest.mark.parametrize(("paper", "size"), [("a4", (595.28, 841.89)), ("letter", (612, 792))])
def test_the_sheet_is_a4_or_letter(made, paper, size):
    box = made(paper=paper).pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.1)


def test_the_same_record_gives_the_same_bytes_on_another_day_and_in_another_order(desk, add, the_box, shelf, clock):
    visit = add("07_marks_too_close")[0]["visit"]
    first = pdf(desk.prescription(the_box()), "a4")
    clock.on(days=30)
    shelf.visits_held[visit].reverse()
    assert pdf(desk_at(shelf, clock, "other").prescription(the_box()), "a4") == first


def test_the_pdf_claims_pdf_a_and_pdf_ua_and_has_what_they_ask_for(made):
    reader = made("02_overclosed")
    root = reader.trailer["/Root"]
    claims = root["/Metadata"].get_data()
    assert b"pdfaid:part>2<" in claims
    assert b"pdfaid:conformance>A<" in claims
    assert b"pdfuaid:part>1<" in claims
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata.title == "Laboratory prescription KP5G-Q3N6"
    assert root["/OutputIntents"][0]["/S"] == "/GTS_PDFA1"
    assert not reader.is_encrypted


def test_it_is_tagged_with_headings_in_order_tables_with_heads_and_pictures_with_words(made):
    tags = list(walked(made("02_overclosed").trailer["/Root"]["/StructTreeRoot"]))
    kinds = [tag["/S"] for tag in tags]
    assert kinds.count("/H1") == 1
    assert kinds.index("/H1") < kinds.index("/H2")
    assert {"/Table", "/TR", "/TH", "/TD", "/Figure"} <= set(kinds)
    figures = [tag["/Alt"] for tag in tags if tag["/S"] == "/Figure"]
    assert len(figures) == 3
    assert "QR symbol of the box page: HTTPS://RIMS.EXAMPLE/B/KP5GQ3N6" in figures
    assert any("Overjet: 2 mm at" in alt and "Marks: the front and the molars" in alt for alt in figures)


def walked(node):
    for kid in node.get("/K", []) if isinstance(node.get("/K"), list) else [node.get("/K")]:
        kid = kid.get_object() if hasattr(kid, "get_object") else kid
        if isinstance(kid, dict) and "/S" in kid:
            yield kid
            yield from walked(kid)


def test_every_font_is_embedded(made):
    reader = made()
    fonts = [font.get_object() for page in reader.pages for font in page["/Resources"]["/Font"].values()]
    assert fonts
    for font in fonts:
        inner = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
        assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(inner["/FontDescriptor"])
        assert "/ToUnicode" in font


def test_nothing_typed_is_ever_markup(made):
    said = text_of(made(chair=NASTY))
    assert NASTY.replace(" ", "") in said.replace(" ", "")


def test_further_fields_of_the_clinic_are_lines_to_write_on(shelf, clock, add):
    clinic = CLINIC.model_copy(update={"prescription_fields": ["Practice registration"]})
    code = add("01_all_fits")[0]["value"]["box"]
    desk = desk_at(shelf, clock, clinic=clinic)
    made = pdf(desk.prescription(only(desk.find(code))), "a4")
    assert "Further particulars Practice registration" in text_of(pypdf.PdfReader(io.BytesIO(made)))


def test_the_sheet_is_in_the_language_of_the_visit_where_there_are_words_for_it(made, monkeypatch):
    english = paper_words.words_in("en")
    texts = {"de": {"title": "Auftrag an das Labor"}, "en": {"title": english("title")}}
    monkeypatch.setattr(paper_words, "_texts", texts.get)
    words = paper_words.words_in("de-CH")
    assert (words("title"), words.language) == ("Auftrag an das Labor", "de")
    assert paper_words.words_in("fr").language == "en"


IN_SPANISH = [
    "Prescripción para el laboratorio",
    "Número de colegiado INV-10442",
    "Sillón 1",
    "Altura anterior superior 22 mm",
    "Distancia interoclusal (reposo menos oclusión) 3 mm; intervalo del 95 %: 2,",
    "Marcas de alineación el frente y los molares de ambos lados",
    "rodete superior, rodete inferior, registro intermaxilar, arco facial",
    "Desinfectado: nivel intermedio, 10 min, por Jon Abara, 2026-01-01 09:",
    "Dr Ada Lindqvist, como odontólogo, 2026-01-01 09:",
    "página 1 de",
]


def test_a_spanish_visit_has_its_prescription_and_its_label_in_spanish_with_decimal_commas(made, desk, the_box):
    sheet = made(language="es")
    said = text_of(sheet)
    assert [words for words in IN_SPANISH if words not in said] == []
    assert sheet.trailer["/Root"]["/Lang"] == "es"
    layout = desk.layout(the_box())
    assert layout.language == "es"
    label = " ".join(words.text for words in layout.words)
    assert "Contenido: rodete superior, rodete inferior" in label
    assert "Desinfectado: nivel intermedio, 10 min" in label


def test_nothing_on_the_sheet_is_said_past_the_catalogues(desk, add, monkeypatch):
    """In a language of accents only, what is left plain is what people typed, names, units of measure and digits."""
    english = paper_words._texts("en")
    monkeypatch.setattr(paper_words, "_texts", {"en": english, LANGUAGE: in_pseudo(english)}.get)
    monkeypatch.setitem(SEQUENCE["texts"], LANGUAGE, in_pseudo(SEQUENCE["texts"]["en"]))
    entries = add("01_all_fits", language=LANGUAGE)
    typed = {entry["value"] for entry in entries if isinstance(entry["value"], str)}
    box = only(desk.find(entries[0]["value"]["box"]))
    names = typed | {person.name for person in CLINIC.staff} | {CLINIC.clinic, "INV", shown(box.record.code)}
    said = " ".join(texts_in(desk.prescription(box).data)).replace(f"HTTPS://RIMS.EXAMPLE/B/{box.record.code}", "")
    left = plain_words(PLACEHOLDER.sub("", said), names)
    assert [word for word in left if not re.fullmatch(r"[a-f]+|mm", word)] == []


def texts_in(part):
    if isinstance(part, dict):
        return [
            text
            for name, one in part.items()
            if name not in ("svg", "language", "digest", "code")
            for text in texts_in(one)
        ]
    if isinstance(part, list | tuple):
        return [text for one in part for text in texts_in(one)]
    return [part] if isinstance(part, str) else []


def test_a_visit_that_is_not_signed_has_no_prescription(desk, add):
    code = add("04_tilted_plane")[0]["value"]["box"]
    with pytest.raises(NoSignature, match="a prescription needs a valid signature"):
        desk.prescription(only(desk.find(code)))


def test_a_printed_prescription_is_current_until_the_packing_changes(desk, add, the_box, shelf):
    add("01_all_fits")
    desk.printed(the_box(), "asst-1", None, "prescription")
    assert (the_box().record.prescription, the_box().record.on) == ("current", "none")
    entries = shelf.visit(the_box().line.visit)
    shelf.add([later(entries, kind="answer", item="packing.items", value=["upper_rim"])])
    assert the_box().record.prescription == "older"


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="no pdftoppm here to look at the print")
def test_printed_the_symbol_on_it_leads_to_the_box_page(desk, add, the_box, tmp_path):
    add("01_all_fits", box="7KQ4M2X9")
    (tmp_path / "sheet.pdf").write_bytes(pdf(desk.prescription(the_box()), "a4"))
    subprocess.run(["pdftoppm", "-r", "150", "-f", "1", "-l", "1", "-png", "sheet.pdf", "s"], cwd=tmp_path, check=True)
    (sheet,) = tmp_path.glob("s*.png")
    found = zxingcpp.read_barcodes(Image.open(sheet).convert("L"))
    assert [one.text for one in found] == ["HTTPS://RIMS.EXAMPLE/B/7KQ4M2X9"]


def test_its_pages_can_be_looked_at(desk, add, the_box):
    add("01_all_fits")
    pages = pictures(desk.prescription(the_box()), "letter")
    assert pages
    assert all(page.startswith(b"<svg") for page in pages)


def test_the_rim_map_draws_the_overjet_to_scale_and_a_bar_at_every_mark():
    drawn = rim_map(
        RimMap(overjet={"front": 3, "molar_left": 0}, marked=("front", "molar_left"), misfit={"front": -0.5})
    )
    assert drawn.count('stroke="#7f1616"') == 2
    assert "0.000 85.000" in drawn, "the lower rim in front lies 3 mm inside the upper, which is at 88"
    assert ">-0.5</text>" in drawn
    assert ">3</text>" in drawn


@pytest.mark.parametrize("typed", ["診察室", "bell \a", "x" * 80])
def test_what_the_font_cannot_write_or_a_column_cannot_hold_never_stops_the_sheet(made, typed):
    said = text_of(made(chair=typed))
    assert ("□" in said) == ("□ stands for a character" in said) == (typed[0] != "x")
    assert typed[0] != "x" or typed in said.replace(" ", "").replace("\u200b", "")
