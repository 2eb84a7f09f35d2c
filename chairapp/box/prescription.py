"""The prescription for the laboratory: what it says, and the sheet as a PDF.

It is made from the signed record alone, so the same record gives the same bytes. It bears no patient's name.
"""

import json
import re
from dataclasses import dataclass
from datetime import datetime
from importlib.resources import files
from typing import Any, Literal

import typst

from chairapp.box.code import shown
from chairapp.box.draw import sheet_fonts, symbol_svg
from chairapp.box.label import symbol_of
from chairapp.box.measured import accepted, measured, notes, value_in_words
from chairapp.box.paper_words import PaperWords, words_in
from chairapp.box.record import BoxRecord, signature_for
from chairapp.box.rim_picture import RimMap, quadrants, rim_map
from chairapp.box.writable import LACKING, writable
from chairapp.clinic import ClinicDocument, local
from chairapp.sequence.say import number, text

__all__ = ["Paper", "Prescription", "pdf", "pictures", "prescription_of"]

Doc = dict[str, Any]
Paper = Literal["a4", "letter"]
_TYPST_PAPER = {"a4": "a4", "letter": "us-letter"}
_LONG_WORD = re.compile(r"\S{24}(?=\S)")
_LINES = ("lines.midline", "lines.midline_shift", "lines.canines", "lines.high_lip")
_TEETH = ("teeth.shade", "teeth.mould", "teeth.curve")
_HINTS = (("inner_canthal", "incisor"), ("bizygomatic", "incisor_face"))
_MEASURED = ("bench", "lip", "display", "plane", "lower", "contact", "vertical", "overjet", "bases", "marks", "record")


@dataclass(frozen=True)
class Prescription:
    """`data` is what the template sets, every text in words; `signed_at` dates the file."""

    data: Doc
    signed_at: datetime


def prescription_of(record: BoxRecord, view: Doc, sequence: Doc, clinic: ClinicDocument, address: str) -> Prescription:
    """What the prescription of this record says. `view` in the visit's language. Raises NoSignature."""
    signature = signature_for(record, "prescription")
    say = words_in(record.language)
    sheet = _Sheet(record, view, sequence, clinic, say)
    data = {
        "language": say.language,
        "title": say("title"),
        "code": shown(record.code),
        "symbol": _symbol(address, record.code, say),
        "head": sheet.head(signature),
        "order": {"title": say("order"), "lines": [say("order_text"), say("facing"), say("sides")]},
        "measured": sheet.measured(),
        "map": sheet.map(),
        "lines": {"title": say("lines"), "rows": sheet.facts(_LINES)},
        "teeth": sheet.teeth(),
        "accepted": sheet.accepted(),
        "wishes": sheet.wishes(),
        "box": sheet.box(),
        "signed": sheet.signed(signature),
        "fields": {"title": say("fields"), "labels": list(clinic.prescription_fields)},
        "law": say("law"),
        "page": say("page", code=shown(record.code), digest=signature["digest"][:8]),
    }
    written = _written(data)
    if LACKING in json.dumps(written, ensure_ascii=False):
        written["law"] = f"{say('lacking')} {written['law']}"
    return Prescription(written, datetime.fromisoformat(signature["at"]))


def _written(part: Any) -> Any:
    """Every text as the font can write it, and with a place to break wherever a word is longer than a column."""
    if isinstance(part, dict):
        return {name: value if name in ("svg", "alt") else _written(value) for name, value in part.items()}
    if isinstance(part, list | tuple):
        return [_written(one) for one in part]
    return _LONG_WORD.sub("\\g<0>\u200b", writable(part)) if isinstance(part, str) else part


def pdf(prescription: Prescription, paper: Paper) -> bytes:
    """A tagged PDF/A-2a and PDF/UA-1. What people typed reaches the template as data only, never as markup."""
    at = int(prescription.signed_at.timestamp())
    made = typst.compile(format="pdf", pdf_standards=["a-2a", "ua-1"], timestamp=at, **_source(prescription, paper))
    assert isinstance(made, bytes)  # noqa: S101 - a list only when pages are asked for one by one
    return made


def pictures(prescription: Prescription, paper: Paper) -> list[bytes]:
    """Its pages as SVG, to be looked at and to be printed from the browser."""
    made = typst.compile(format="svg", **_source(prescription, paper))
    return [made] if isinstance(made, bytes) else list(made or [])


def _source(prescription: Prescription, paper: Paper) -> Doc:
    return {
        "input": files("chairapp.box").joinpath("prescription.typ").read_bytes(),
        "font_paths": sheet_fonts(),
        "sys_inputs": {"data": json.dumps(prescription.data), "paper": _TYPST_PAPER[paper]},
    }


def _symbol(address: str, code: str, say: PaperWords) -> Doc:
    symbol = symbol_of(address, code)
    return {"svg": symbol_svg(symbol), "alt": say("symbol_alt", payload=symbol.payload)}


def _in_sixteens(digest: str) -> str:
    return " ".join(digest[at : at + 16] for at in range(0, len(digest), 16))


class _Sheet:
    """The parts of one sheet, each as the template wants it."""

    def __init__(self, record: BoxRecord, view: Doc, sequence: Doc, clinic: ClinicDocument, say: PaperWords) -> None:
        self._record = record
        self._state, self._verdict = view["state"], view["verdict"]
        self._sequence = sequence
        self._clinic = clinic
        self._say = say
        self._language = record.language

    def head(self, signature: Doc) -> list[tuple[str, str]]:
        say, record = self._say, self._record
        prescriber = self._clinic.person(self._prescriber(signature))
        supervised = [one for one in self._state["signatures"] if one["valid"] and one["role"] == "supervised"]
        rows: list[tuple[str, str]] = [
            (say("prescriber"), prescriber.name if prescriber else self._prescriber(signature)),
            (say("licence"), (prescriber and prescriber.licence) or say("no_licence")),
            (say("clinic"), self._clinic.clinic),
            (say("chair"), record.chair),
            (say("box"), shown(record.code)),
            (say("made"), self._day(signature["at"])),
            (say("wanted"), record.wanted or say("no_day")),
            (say("record"), signature["digest"][:8]),
        ]
        if supervised:
            rows.insert(2, (say("supervised"), self._clinic.name_of(supervised[-1]["author"])))
        return rows

    def _prescriber(self, signature: Doc) -> str:
        """Who answers for the record: of two signatures that of the supervisor, who is licensed."""
        licensed = [one for one in self._state["signatures"] if one["valid"] and one["role"] != "supervised"]
        return str((licensed or [signature])[-1]["author"])

    def measured(self) -> Doc:
        say = self._say
        groups = measured(self._sequence, self._state, self._verdict, _MEASURED, self._language, say)
        skipped = {*_LINES, *_TEETH, "teeth.bizygomatic", "teeth.inner_canthal"}
        kept = [
            {
                "title": group.title,
                "rows": [(fact.label, fact.value) for fact in group.facts if fact.item not in skipped],
            }
            for group in groups
        ]
        return {
            "title": say("measured"),
            "head": [say("measured_what"), say("measured_value")],
            "groups": [group for group in kept if group["rows"]],
        }

    def map(self) -> Doc:
        say = self._say
        overjet, marks = self._value("overjet.gap") or {}, self._value("marks.placed") or {}
        drawn = RimMap(
            overjet=overjet,
            marked=tuple(station for station in marks if marks[station]),
            misfit=self._value("marks.misfit") or {},
            midline=self._value("lines.midline") == "marked",
            midline_shift=self._value("lines.midline_shift") or 0.0,
            canine_lines=self._value("lines.canines") == "marked",
            right=say("map_right"),
            left=say("map_left"),
            midline_word=say("map_midline"),
            point=text(self._sequence, self._language, "number.point", {}) or ".",
        )
        said = {item: self._in_words(item) or say("map_none") for item in ("overjet.gap", "marks.placed")}
        alt = say("map_alt", overjet=said["overjet.gap"], marks=said["marks.placed"])
        return {"title": say("map"), "svg": rim_map(drawn), "alt": alt, "legend": say("map_legend")}

    def teeth(self) -> Doc:
        say, hints = self._say, self._verdict["derived"].get("central_incisor") or {}
        rows = self.facts(_TEETH)
        rows += [(say(key), self._mm(hints[name])) for name, key in _HINTS if hints.get(name)]
        return {
            "title": say("teeth"),
            "rows": rows,
            "none": say("teeth_none"),
            "svg": quadrants(),
            "alt": say("quadrants_alt"),
            "legend": say("quadrants"),
        }

    def accepted(self) -> Doc:
        say = self._say
        found = accepted(self._sequence, self._verdict, self._language)
        rows = [
            {
                "title": one.title,
                "found": list(one.found),
                "why": say("accepted_why", name=self._clinic.name_of(one.author), reason=one.reason),
            }
            for one in found
        ]
        return {"title": say("accepted"), "rows": rows, "none": say("accepted_none")}

    def wishes(self) -> Doc:
        say = self._say
        rows = notes(self._sequence, self._state, self._language)
        return {"title": say("wishes"), "rows": [(one.label, one.value) for one in rows], "none": say("wishes_none")}

    def box(self) -> Doc:
        say, record = self._say, self._record
        how = say("contaminated")
        if record.disinfected:
            name = self._clinic.name_of(record.disinfected_by or "")
            how = say("disinfected_by", how=record.disinfected, name=name, when=self._time(record.disinfected_at or ""))
        return {
            "title": say("in_box"),
            "packed": list(record.packed),
            "none": say("packed_none"),
            "disinfected": (say("disinfected"), how, record.disinfected is not None),
        }

    def signed(self, signature: Doc) -> Doc:
        say = self._say
        held = [one for one in self._state["signatures"] if one["valid"]]
        lines = [
            say(
                "signed_by",
                name=self._clinic.name_of(one["author"]),
                role=say.role(one["role"]),
                when=self._time(one["at"]),
            )
            for one in held
        ]
        return {"title": say("signed"), "lines": lines, "digest": (say("digest"), _in_sixteens(signature["digest"]))}

    def facts(self, items: tuple[str, ...]) -> list[tuple[str, str]]:
        found = measured(self._sequence, self._state, self._verdict, ("record",), self._language, self._say)
        return [(fact.label, fact.value) for group in found for fact in group.facts if fact.item in items]

    def _value(self, item: str) -> Any:
        row = self._state["items"].get(item)
        return row["value"] if row and row["fresh"] else None

    def _mm(self, value: float) -> str:
        return number(self._sequence, self._language, value) + text(self._sequence, self._language, "after.mm", {})

    def _in_words(self, item: str) -> str:
        return value_in_words(self._sequence, self._state, item, self._language, self._say)

    def _day(self, at: str) -> str:
        return local(at, self._clinic).date().isoformat()

    def _time(self, at: str) -> str:
        return local(at, self._clinic).strftime("%Y-%m-%d %H:%M")
