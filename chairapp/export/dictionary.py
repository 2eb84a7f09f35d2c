"""What stands beside the tables: every column and every item explained, from the sequence documents themselves."""

from collections.abc import Iterable, Iterator
from typing import Any

from chairapp.sequence.say import choice, label, text

__all__ = ["COLUMNS", "DICTIONARY", "dictionary", "readme"]

Doc = dict[str, Any]
Row = dict[str, Any]

DICTIONARY = ("table", "name", "meaning", "kind", "unit", "pad", "fits_from", "fits_to", "values", "required", "step")

# A name that means the same in every table is explained once, under "*".
COLUMNS = {
    ("*", "visit"): "id of the visit (UUID version 7)",
    ("*", "box_code"): "code of the case box; stands for the case on label and box page",
    ("*", "entry"): "id of the entry the row comes from",
    ("*", "author"): "staff id of who made it, as the paired device says",
    ("*", "author_name"): "name behind the staff id in the clinic document of today; empty when unknown",
    ("*", "at"): "when it was made, by the device's own clock (RFC 3339, UTC)",
    ("*", "item"): "what was asked for; explained in this dictionary under table `item`",
    ("*", "step"): "step of the sequence",
    ("*", "unit"): "mm, deg or min; empty where there is none",
    ("*", "station"): "place on the rim map",
    ("answers.csv", "kind"): "answer (latest counts), reading (they add up), check (a supervisor's own, never judged)",
    ("answers.csv", "value"): "number, or text; stations as `front 0; canine_right 0.5`; empty: cleared or erased",
    ("answers.csv", "from_photograph"): "whether the angle was measured on a photograph",
    ("answers.csv", "device"): "id of the device that made it",
    ("answers.csv", "received"): "when it reached the store exported here (UTC)",
    ("answers.csv", "round"): "round of its item, 1 the first; empty: belongs to none",
    ("answers.csv", "in_force"): "yes: the verdict is worked out from it",
    ("answers.csv", "why_not"): "why it is not in force",
    ("stations.csv", "value"): "number at this station; yes where a mark was placed",
    ("stations.csv", "in_force"): "as in answers.csv",
    ("visits.csv", "opened"): "when the visit was opened (UTC)",
    ("visits.csv", "opened_day"): "the same as a day of the clinic's own calendar; the period asked for is of these",
    ("visits.csv", "opened_by"): "staff id of who opened it",
    ("visits.csv", "opened_by_name"): "name behind it",
    ("visits.csv", "chair"): "chair",
    ("visits.csv", "language"): "language it was walked in",
    ("visits.csv", "sequence"): "id of the sequence",
    ("visits.csv", "sequence_digest"): "SHA-256 of the sequence document it was opened with, by which it is judged",
    ("visits.csv", "entries"): "how many entries it has",
    ("visits.csv", "last_entry"): "latest time of an entry (UTC)",
    ("visits.csv", "last_received"): "when the latest one reached this store (UTC)",
    ("visits.csv", "judged"): "yes, or why no verdict can be given",
    ("visits.csv", "ready_for_record"): "every required step before the jaw relation record fits or is accepted",
    ("visits.csv", "signed"): "by a clinician, or by a supervised clinician and a supervisor, and unchanged since",
    ("visits.csv", "changed_after_signing"): "there are signatures, and none holds any longer",
    ("visits.csv", "signed_at"): "latest signature that holds, else the latest of all (UTC)",
    ("visits.csv", "signed_by"): "staff id of who gave it",
    ("visits.csv", "signed_by_name"): "name behind it",
    ("visits.csv", "record_digest"): "SHA-256 of the entries it covers; label and prescription carry its beginning",
    ("visits.csv", "interocclusal_distance"): "mean rest less mean occlusal reading, mm on the skin",
    ("visits.csv", "interocclusal_distance_low"): "lower end of its 95 % interval, mm",
    ("visits.csv", "interocclusal_distance_high"): "upper end of its 95 % interval, mm",
    ("visits.csv", "ovd_change"): "occlusal vertical dimension less that of the old dentures, mm",
    ("visits.csv", "plane_front"): "deg, + when the patient's right is lower",
    ("visits.csv", "plane_right"): "deg, + when the back is lower",
    ("visits.csv", "plane_left"): "deg, + when the back is lower",
    ("visits.csv", "adjustments"): "changes of wax or base that were not taken back",
    ("visits.csv", "acceptances"): "steps accepted outside their band, with a reason that still holds",
    ("visits.csv", "labels_printed"): "how many labels were made",
    ("visits.csv", "prescriptions_made"): "how many prescriptions were made",
    ("visits.csv", "box_is_at"): "laboratory, clinic, chair or finished; empty: never moved",
    ("visits.csv", "box_moved_at"): "since when (UTC)",
    ("visits.csv", "box_wanted"): "day it is wanted back",
    ("visits.csv", "tried_in_at"): "when the outcome of the try-in was noted (UTC)",
    ("visits.csv", "tried_in_repeat"): "whether the record is to be taken again",
    ("visits.csv", "tried_in_why"): "why",
    ("adjustments.csv", "rim"): "upper or lower",
    ("adjustments.csv", "surface"): "height, labial or base",
    ("adjustments.csv", "mm"): "+ added, - taken off or relieved",
    ("adjustments.csv", "taken_back"): "whether the change was undone, and with it what it disturbed",
    ("acceptances.csv", "reason"): "why the clinician goes on",
    ("acceptances.csv", "findings"): "codes of what is accepted, each with its value",
    ("acceptances.csv", "holds"): "no: the step has changed since, it must be accepted again",
    ("signatures.csv", "role"): "clinician, supervised or supervisor",
    ("signatures.csv", "digest"): "SHA-256 of the entries it covers",
    ("signatures.csv", "holds"): "no: something clinical lies outside what it covers",
    ("signatures.csv", "void_by"): "id of the first entry that voids it",
    ("signatures.csv", "void_by_kind"): "its kind",
    ("signatures.csv", "void_by_item"): "its item",
    ("signatures.csv", "void_by_author"): "who made it",
    ("signatures.csv", "void_by_at"): "when (UTC)",
    ("access.csv", "who"): "staff id of who looked",
    ("access.csv", "role"): "in which role",
    ("access.csv", "what"): "what was done",
}


def dictionary(tables: dict[str, tuple[str, ...]], sequences: Iterable[Doc]) -> Iterator[Row]:
    """Every column of the tables, then every item of the sequences; one that differs between two stands twice."""
    for table, columns in tables.items():
        for name in columns:
            meaning = COLUMNS.get((table, name)) or COLUMNS.get(("*", name)) or _verdict(name)
            yield {"table": table, "name": name, "meaning": meaning}
    seen: set[str] = set()
    for sequence in sequences:
        for row in _items(sequence):
            if repr(row) not in seen:
                seen.add(repr(row))
                yield row


def _verdict(name: str) -> str:
    """A column that is not in the list is a step's; the tests see to it that there is no other."""
    return f"verdict of the step {name.removeprefix('verdict_')}: open, stale, unsure, off, fits or accepted"


def _items(sequence: Doc) -> Iterator[Row]:
    for step in sequence["steps"]:
        for item in step["items"]:
            low, high = item["band"] or (None, None)
            yield {
                "table": "item",
                "name": item["id"],
                "meaning": label(sequence, "en", item["id"]),
                "kind": item["kind"],
                "unit": item["unit"],
                "pad": item["pad"],
                "fits_from": low,
                "fits_to": high,
                "values": "; ".join(f"{one}: {choice(sequence, 'en', item['id'], one)}" for one in item["choices"]),
                "required": item["required"],
                "step": text(sequence, "en", f"step.{step['id']}.title", {}),
            }


def readme(tables: dict[str, tuple[str, ...]], about: dict[str, str]) -> str:
    """README.txt; `about` are lines such as who made it and when, by name."""
    lines = [f"{name + ':':<18}{value}" for name, value in about.items()]
    files = [f"  {name:<18}{_ABOUT[name]}" for name in tables]
    return _README.format("\n".join(lines), "\n".join(files)).replace("\n", "\r\n")


_ABOUT = {
    "visits.csv": "one row a visit",
    "answers.csv": "one row an answer or reading, in force or not",
    "stations.csv": "one row a station of those answers that have values along the rim",
    "adjustments.csv": "one row a station where wax or a base was changed",
    "acceptances.csv": "one row a step that was accepted outside its band",
    "signatures.csv": "one row a signature",
    "access.csv": "one row a look at this record, or an export of it, at this node",
}
_README = """Export of jaw relation visits

{}

Files
{}
  dictionary.csv    every column and every item of the sequence: its meaning, unit and band

How to read them
  Tables are as RFC 4180 has them: commas, texts in double quotes, numbers without, lines ended by CR LF. They are UTF-8
  with a byte order mark, because spreadsheets spoil accents without it; a program reads them as utf-8-sig.
  A text that a spreadsheet would run as a formula (it starts with = + - @ and the like) has an apostrophe before it,
  and so has a text with an apostrophe of its own: a program takes one away from the start of every text.
  Numbers stay numbers. Decimal sign is the point. Yes and no are the words yes and no; an empty cell says nothing.
  Times are in UTC. Sides are the patient's. No patient's name is in here; the box code stands for the case.
  Verdicts are guidance worked out from the readings, never a diagnosis; the licensed clinician who signed decided.
"""
