"""The wax plan against what was done: what each change of wax followed, and what it did."""

from typing import Any, NamedTuple

from chairapp.judge import judge
from chairapp.judge.rim import STATIONS

__all__ = ["Change", "Go", "goes"]

Doc = dict[str, Any]


class Change(NamedTuple):
    """mm at one station of one face; `planned` is None where the plan said nothing of that face."""

    rim: str
    surface: str
    station: str
    planned: float | None
    done: float


class Go(NamedTuple):
    """Wax changed without a reading in between: when the first change was made, by whom, and what it came to."""

    at: str
    author: str
    changes: list[Change]
    withdrawn: int


def goes(sequence: Doc, state: Doc) -> list[Go]:
    """In order. `planned` is the plan as it stood before the first change of each, in the half millimetres shown."""
    rows = {row["id"]: row for row in state["adjustments"]}
    found: list[Go] = []
    entries, at = state["entries"], 0
    while at < len(entries):
        if entries[at]["id"] not in rows:
            at += 1
            continue
        end = at
        while end < len(entries) and entries[end]["kind"] not in ("reading", "answer"):
            end += 1
        together = [rows[entry["id"]] for entry in entries[at:end] if entry["id"] in rows]
        found.append(_go(judge(sequence, entries[:at])["plan"], together))
        at = end
    return found


def _go(plan: Doc, together: list[Doc]) -> Go:
    done: dict[tuple[str, str], dict[str, float]] = {}
    for row in together:
        if not row["withdrawn"]:
            face = done.setdefault((row["rim"], row["surface"]), {})
            for station, mm in row["stations"].items():
                face[station] = face.get(station, 0) + mm
    changes = [change for face in _faces(plan, done) for change in face]
    return Go(together[0]["at"], together[0]["author"], changes, sum(row["withdrawn"] for row in together))


def _faces(plan: Doc, done: dict[tuple[str, str], dict[str, float]]) -> list[list[Change]]:
    planned: dict[tuple[str, str], Doc] = {}
    for rim in ("upper", "lower"):
        planned[rim, "height"] = plan["shown"].get(rim) or {}
        planned[rim, "labial"] = plan["labial"].get(rim) or {}
    faces = [*planned, *(face for face in done if face not in planned)]
    return [_face(*face, planned.get(face, {}), done.get(face, {})) for face in faces]


def _face(rim: str, surface: str, planned: Doc, done: dict[str, float]) -> list[Change]:
    return [
        Change(rim, surface, station, planned.get(station) if planned else None, done.get(station, 0))
        for station in STATIONS
        if planned.get(station) or done.get(station)
    ]
