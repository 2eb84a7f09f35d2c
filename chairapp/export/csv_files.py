"""The tables in a folder, or in a ZIP of it."""

from contextlib import ExitStack
from pathlib import Path

from chairapp.export.answers import ANSWERS, STATIONS_TABLE, answers, box_code, stations
from chairapp.export.cells import Table
from chairapp.export.dictionary import DICTIONARY, dictionary, readme
from chairapp.export.source import Progress, Source, Visit, ignore
from chairapp.export.tables import (
    ACCEPTANCES,
    ADJUSTMENTS,
    SIGNATURES,
    VISITS,
    acceptances,
    adjustments,
    signatures,
    visit_row,
)

__all__ = ["ACCESS", "write_tables"]

ACCESS = ("visit", "box_code", "at", "who", "role", "what")
_TABLES = {
    "visits.csv": VISITS,
    "answers.csv": ANSWERS,
    "stations.csv": STATIONS_TABLE,
    "adjustments.csv": ADJUSTMENTS,
    "acceptances.csv": ACCEPTANCES,
    "signatures.csv": SIGNATURES,
}
_ROWS = {
    "visits.csv": lambda visit: [visit_row(visit)],
    "answers.csv": answers,
    "stations.csv": stations,
    "adjustments.csv": adjustments,
    "acceptances.csv": acceptances,
    "signatures.csv": signatures,
}


def write_tables(source: Source, folder: Path, made: str, progress: Progress = ignore) -> int:
    """Fill an empty folder; gives how many visits are in it. `made` is the time of the export (RFC 3339, UTC).

    Raises what `Source.each` raises, and OSError.
    """
    kinds = _TABLES | ({"access.csv": ACCESS} if source.one else {})
    head = source.store.head()
    sequences: dict[int, dict[str, object]] = {}
    with ExitStack() as stack:
        tables = {name: stack.enter_context(Table(folder / name, columns)) for name, columns in kinds.items()}
        for visit in source.each(progress):
            _add(visit, tables)
            if visit.sequence:
                sequences[id(visit.sequence)] = visit.sequence
        count = tables["visits.csv"].rows
    with Table(folder / "dictionary.csv", DICTIONARY) as table:
        for row in dictionary(kinds, sequences.values()):
            table.add(row)
    about = {"Clinic": source.clinic.clinic if source.clinic else "unknown", "Made": made, "Period": str(source.period)}
    about |= {"Visits": str(count), "Chain head": f"{head.hash} at {head.position} of {head.epoch}"}
    (folder / "README.txt").write_text(readme(kinds, about), "utf-8-sig", newline="")
    return count


def _add(visit: Visit, tables: dict[str, Table]) -> None:
    for name, rows in _ROWS.items():
        for row in rows(visit):
            tables[name].add(row)
    if "access.csv" in tables:
        for looked in visit.source.access(visit.id):
            told = {name: looked.get(name) for name in ("at", "who", "role", "what")}
            tables["access.csv"].add({"visit": visit.id, "box_code": box_code(visit)} | told)
