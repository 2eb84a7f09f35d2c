"""The tables say what the judge says, row by row."""

import csv
import math
from dataclasses import replace
from zipfile import ZipFile

import pytest

from chairapp.export.answers import answers
from chairapp.export.csv_files import write_tables
from chairapp.export.dictionary import COLUMNS
from chairapp.export.errors import Cancelled, NothingThere
from chairapp.export.period import period_of
from chairapp.export.source import Visit
from chairapp.export.write import write_export
from tests.export.conftest import DOC, MADE, fill


@pytest.fixture(scope="module")
def tables(source, tmp_path_factory):
    folder = tmp_path_factory.mktemp("tables")
    write_tables(source, folder, MADE)
    return {file.name: read(file) for file in folder.glob("*.csv")}


def read(file):
    with file.open(encoding="utf-8-sig", newline="") as opened:
        return list(csv.DictReader(opened))


def test_a_visit_is_one_row_with_the_verdicts_the_judge_gives(tables, source):
    rows = {row["visit"]: row for row in tables["visits.csv"]}
    assert len(rows) == len(tables["visits.csv"]) == 8
    for visit in source.each():
        verdict = visit.view["verdict"]
        for step, judged in verdict["steps"].items():
            if step != "review":  # has no items, and so no verdict of its own
                assert rows[visit.id][f"verdict_{step}"] == judged["verdict"]
        assert rows[visit.id]["ready_for_record"] == ("yes" if verdict["ready"] else "no")


def test_every_answer_and_reading_is_one_row_in_force_or_not(tables, source):
    rows = tables["answers.csv"]
    made = [entry for visit in source.each() for entry in visit.entries if entry["kind"] in ("answer", "reading")]
    assert sorted(row["entry"] for row in rows) == sorted(entry["id"] for entry in made)
    assert {row["in_force"] for row in rows} == {"yes", "no"}
    assert all(bool(row["why_not"]) == (row["in_force"] == "no") for row in rows)


def test_the_mean_of_the_readings_in_force_is_the_value_the_judge_judges(tables, source):
    for visit in source.each():
        for item, row in visit.view["state"]["items"].items():
            found = [
                float(line["value"])
                for line in tables["answers.csv"]
                if (line["visit"], line["item"], line["in_force"], line["kind"]) == (visit.id, item, "yes", "reading")
            ]
            if row["readings"]:
                assert math.isclose(sum(found) / len(found), row["value"], abs_tol=1e-6)
            else:
                assert found == []


def test_rounds_count_from_the_first_and_the_present_one_is_the_last(tables):
    rows = [row for row in tables["answers.csv"] if row["item"] == "vertical.occlusal" and row["round"]]
    earlier = [row for row in rows if row["in_force"] == "no"]
    assert earlier
    for row in earlier:
        mine = [int(other["round"]) for other in rows if other["visit"] == row["visit"] and other["in_force"] == "yes"]
        assert all(int(row["round"]) < number for number in mine)


def test_an_erased_value_is_empty_and_says_so(tables):
    (row,) = [row for row in tables["answers.csv"] if row["why_not"] == "value erased"]
    assert row["value"] == ""


def test_a_visit_changed_after_signing_says_so_and_names_what_changed_it(tables):
    changed = [row for row in tables["visits.csv"] if row["changed_after_signing"] == "yes"]
    assert [row["box_code"] for row in changed] == ["KP5GQ3N6"]
    void = [row for row in tables["signatures.csv"] if row["holds"] == "no"]
    assert {row["void_by_item"] for row in void} == {"lip.nasolabial"}


def test_the_box_and_its_try_in_stand_in_the_visit(tables):
    (row,) = [row for row in tables["visits.csv"] if row["box_is_at"]]
    assert (row["box_is_at"], row["box_wanted"], row["tried_in_repeat"]) == ("finished", "2026-12-04", "no")


def test_stations_stand_one_a_row_too(tables):
    gaps = [row for row in tables["stations.csv"] if row["item"] == "contact.gap"]
    assert len({row["station"] for row in gaps}) == 7
    assert all(float(row["value"]) >= 0 for row in gaps)


def test_the_dictionary_explains_every_column_and_every_item(tables):
    explained = {(row["table"], row["name"]) for row in tables["dictionary.csv"]}
    for table, rows in tables.items():
        if table != "dictionary.csv" and rows:
            assert {(table, column) for column in rows[0]} <= explained
    assert {("item", item["id"]) for step in DOC["steps"] for item in step["items"]} <= explained
    assert all(row["meaning"] for row in tables["dictionary.csv"])


def test_no_column_is_explained_as_a_verdict_that_is_none(tables):
    columns = {(table, name) for table, rows in tables.items() for name in (rows[0] if rows else ())}
    unexplained = {name for table, name in columns if not {(table, name), ("*", name)} & COLUMNS.keys()}
    steps = {f"verdict_{step['id']}" for step in DOC["steps"]}
    assert unexplained - {"table", "name", "meaning", *tables["dictionary.csv"][0]} <= steps


def test_a_period_keeps_to_visits_opened_on_its_days_of_the_clinics_calendar(source):
    days = sorted(row.opened["at"] for row in source.each())
    kept = replace(source, period=period_of(days[1][:10], days[2][:10]))
    assert sorted(visit.opened["at"] for visit in kept.each()) == days[1:3]


def test_one_record_comes_with_who_looked_at_it(one, tmp_path):
    assert write_tables(one, tmp_path, MADE) == 1
    (row,) = read(tmp_path / "access.csv")
    assert (row["who"], row["what"]) == ("mgr-1", "looked at a visit")


def test_a_box_nobody_has_is_named(source, tmp_path):
    with pytest.raises(NothingThere, match="7KQ4M2X9"):
        write_export(replace(source, code="7KQ4M2X9"), "csv", tmp_path / "out", MADE)
    assert list(tmp_path.iterdir()) == []


def test_an_export_that_is_stopped_leaves_nothing_behind(source, tmp_path):
    for kind, name in (("csv", "t.zip"), ("fhir", "b.json"), ("json", "r.json")):
        with pytest.raises(Cancelled):
            write_export(source, kind, tmp_path / name, MADE, progress=lambda done, of: done < 3)
    assert list(tmp_path.iterdir()) == []


def test_progress_goes_from_the_first_visit_to_the_last(source, tmp_path):
    told = []
    write_export(source, "csv", tmp_path / "t.zip", MADE, progress=lambda *seen: told.append(seen) or True)
    assert told == [(number, 8) for number in range(1, 9)]
    assert "visits.csv" in ZipFile(tmp_path / "t.zip").namelist()


def test_a_visit_whose_sequence_is_not_here_is_a_row_that_says_so(source, tmp_path):
    bare = replace(source, sequence_of=lambda _: None)
    write_tables(bare, tmp_path, MADE)
    rows = read(tmp_path / "visits.csv")
    assert {row["judged"] for row in rows} == {"its sequence is not here"}
    assert {row["why_not"] for row in read(tmp_path / "answers.csv")} == {
        "value erased",
        "not judged: its sequence is not here",
    }


def test_random_visits_of_two_tablets_give_each_entry_one_row_and_one_fate(source):
    from tests.visits import random_visit

    for seed in range(40):
        entries = {entry["id"]: entry for entry in random_visit(seed, DOC)}
        visit = _loose(source, list(entries.values()))
        rows = {row["entry"]: row for row in answers(visit)}
        state = visit.view["state"]
        for item, row in state["items"].items():
            if row["fresh"] and row["readings"]:
                now = {one["id"] for one in row["readings"]}
                assert {id for id in rows if rows[id]["item"] == item and rows[id]["in_force"]} == now
                assert {rows[id]["round"] for id in now} == {len(row["rounds"]) + 1}
            elif row["fresh"]:
                assert rows[row["id"]]["in_force"]
        assert all((row["why_not"] is None) == row["in_force"] for row in rows.values())


def _loose(source, entries):
    """A visit that is in no store."""
    from sync.entry import canonical
    from sync.store import Link

    links = [Link(number, canonical(entry), "0" * 64, 0) for number, entry in enumerate(entries, start=1)]
    visit = Visit(source, entries[0]["visit"], links)
    visit.sequence = DOC
    return visit


def test_both_stores_give_the_same_tables(source, tmp_path):
    from sync.tiny_store import TinyStore

    store = TinyStore(tmp_path / "node")
    fill(store)
    for name, one in (("sql", source), ("tiny", replace(source, store=store))):
        (tmp_path / name).mkdir()
        write_tables(one, tmp_path / name, MADE)
    store.close()
    for table in ("visits.csv", "answers.csv", "signatures.csv"):
        sql, tiny = ([_without_receipt(row) for row in read(tmp_path / name / table)] for name in ("sql", "tiny"))
        assert sql == tiny


def _without_receipt(row):
    return {name: value for name, value in row.items() if name not in ("received", "last_received", "entry", "void_by")}
