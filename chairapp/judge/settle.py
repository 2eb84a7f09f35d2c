"""Folds the entries of one visit into its present state: rounds, withdrawals, staleness, acceptances, signatures."""

from chairapp.judge.disturb import adjustments_of, changes_of, disturbs
from chairapp.judge.entries import EVENTS, WITHDRAWABLE, in_order
from chairapp.judge.index import index_of, is_known
from chairapp.judge.past import pasts
from chairapp.judge.rows import lacks_stations, row_of
from chairapp.judge.shapes import Doc, Rows
from chairapp.judge.signatures import cause, is_signed, signatures_of


def settle(sequence: Doc, entries: Rows) -> Doc:
    """The present state of a visit, whatever order its entries came in and however often.

    state = {
      "visit": id or null, "opened": the value of the `opened` entry plus {"id", "author", "at"}, or null,
      "items": {item: row}, a row for every item of the sequence:
          "status"    "open" (never answered, all withdrawn, or stations lack), "stale" (answered, not in the present
                      round) or "fresh"
          "fresh"     status == "fresh"
          "value"     answers: the latest (kept while stale; null when cleared); readings: the mean of the present round
                      to 6 decimals, or "looks_parallel", or null
          "missing"   stations still wanted by an S item
          "id", "author", "at"   of the latest answer or reading, null without one
          "readings"  [{"id", "value", "author", "at"}] of the present round, oldest first
          "stale_by"  null, or {"id", "kind" ("adjustment" or "answer"), "item", "author", "at", "rim", "surface",
                      "unaware"}: the first thing that disturbs the value; unaware when it came before the reading by
                      the clock but was not known to its tablet
          "rounds"    [[values], ...] earlier rounds, oldest first
          "beaten"    [{"id", "value", "author", "at"}] earlier answers of the same round, oldest first
          "withdrawn" [{"id", "value", "author", "at"}] readings taken back
      "adjustments": [{"id", "author", "at", "rim", "surface", "stations", "disturbs": [items], "withdrawn": bool}],
      "acceptances": {step: {"id", "author", "at", "reason", "codes", "unaware_of": [adjustment ids]}}, the latest,
      "signatures": [{"id", "author", "at", "role", "digest", "verdicts", "judge", "covers", "key", "valid",
                      "void_by": null or {"id", "kind", "item", "author", "at"}}],
      "signed": whether those that hold are enough: a clinician's, or a supervised one's and a supervisor's,
      "voids": [{"what": "record" or "signature", "id": what is void, "by": {"id", "kind", "item", "author", "at"}}],
      "notes": [{"id", "step", "value", "author", "at", "withdrawn"}],
      "checks": [{"id", "item", "value", "author", "at"}],
      "events": [entries of kinds attachment, printed, movement, outcome],
      "unknown": [entries of a newer tablet: kinds or items this sequence does not know],
      "entries": every entry once, in (clock, id) order (the page may drop it; `judge_state` needs it)
    }

    Raises InputError for entries of the wrong shape.
    """
    index = index_of(sequence)
    return settled(sequence, index, in_order(index, entries))


def settled(sequence: Doc, index: Doc, ordered: Rows) -> Doc:
    """The state from entries that were looked at and ordered before: what an acceptance is held against, later on."""
    known = [entry for entry in ordered if is_known(index, entry)]
    facts = _facts(sequence, index, known)
    rows = {item: row_of(facts, item) for item in index["names"]}
    lacks_stations(index, rows)
    signatures = signatures_of(facts, ordered)
    return {
        "visit": ordered[0]["visit"] if ordered else None,
        "opened": _opened(known),
        "items": rows,
        "adjustments": _adjustments(facts, known),
        "acceptances": _acceptances(facts, known),
        "signatures": signatures,
        "signed": is_signed(signatures),
        "voids": _voids(facts, signatures),
        "notes": _notes(facts, known),
        "checks": _checks(facts, known),
        "events": [entry for entry in known if entry["kind"] in EVENTS],
        "unknown": [entry for entry in ordered if not _is_understood(facts, entry)],
        "entries": ordered,
    }


def _facts(sequence: Doc, index: Doc, known: Rows) -> Doc:
    """What the rows are worked out from; see rows.py."""
    withdrawn = _withdrawn(known)
    return {
        "index": index,
        "past": pasts(known),
        "known": {entry["id"]: entry for entry in known},
        "withdrawn": withdrawn,
        "adjustments": adjustments_of(sequence, index, known, withdrawn),
        "changes": changes_of(sequence, index, known),
        "answers": _by_item(index, known, "answer"),
        "readings": _by_item(index, known, "reading"),
    }


def _withdrawn(known: Rows) -> Doc:
    """{id of a withdrawn entry: its withdrawal}, wherever in the order the withdrawal stands."""
    kinds = {entry["id"]: entry["kind"] for entry in known}
    found = {}
    for entry in known:
        if entry["kind"] == "withdrawal" and kinds.get(entry["of"]) in WITHDRAWABLE:
            found[entry["of"]] = entry
    return found


def _by_item(index: Doc, known: Rows, kind: str) -> Doc:
    found: Doc = {item: [] for item in index["names"]}
    for entry in known:
        if entry["kind"] == kind:
            found[entry["item"]].append(entry)
    return found


def _is_understood(facts: Doc, entry: Doc) -> bool:
    """A withdrawal of what cannot be withdrawn (an answer, a signature) is kept and shown as not understood."""
    if entry["kind"] == "withdrawal" and entry["of"] in facts["known"]:
        return entry["of"] in facts["withdrawn"]
    return entry["kind"] == "withdrawal" or entry["id"] in facts["known"]


def _opened(known: Rows) -> Doc | None:
    """The latest `opened`: opening again, as on another tablet, says where the visit is now."""
    opened = [entry for entry in known if entry["kind"] == "opened"]
    if not opened:
        return None
    latest = opened[-1]
    return dict(latest["value"], id=latest["id"], author=latest["author"], at=latest["at"])


def _adjustments(facts: Doc, known: Rows) -> Rows:
    reaches = {reach["entry"]["id"]: reach for reach in facts["adjustments"]}
    found = []
    for entry in known:
        if entry["kind"] == "adjustment":
            reach = reaches.get(entry["id"])
            row = {name: entry["value"][name] for name in ("rim", "surface", "stations")}
            row.update({"id": entry["id"], "author": entry["author"], "at": entry["at"], "withdrawn": reach is None})
            row["disturbs"] = [item for item in facts["index"]["names"] if reach and _reaches(reach, item)]
            found.append(row)
    return found


def _reaches(reach: Doc, item: str) -> bool:
    return item in reach["everywhere"] or item in reach["at"]


def _acceptances(facts: Doc, known: Rows) -> Doc:
    """The latest acceptance of each step that was not withdrawn."""
    found: Doc = {}
    for entry in known:
        if entry["kind"] == "acceptance" and entry["id"] not in facts["withdrawn"]:
            found[entry["item"]] = {
                "id": entry["id"],
                "author": entry["author"],
                "at": entry["at"],
                "reason": entry["value"]["reason"],
                "codes": entry["value"]["codes"],
                "unaware_of": _unaware_of(facts, entry),
            }
    return found


def _unaware_of(facts: Doc, acceptance: Doc) -> list[str]:
    """The adjustments that disturb something of the accepted step and are not in the acceptance's past."""
    past = facts["past"][acceptance["id"]]
    step = facts["index"]["steps"][acceptance["item"]]
    missed = []
    for reach in facts["adjustments"]:
        if reach["entry"]["id"] not in past and _disturbs_step(facts, reach, step):
            missed.append(reach["entry"]["id"])
    return missed


def _disturbs_step(facts: Doc, reach: Doc, step: Doc) -> bool:
    for item in step["items"]:
        given = facts["answers"][item["id"]] + facts["readings"][item["id"]]
        if given and disturbs(facts["index"], facts["answers"], reach, given[-1]):
            return True
    return False


def _voids(facts: Doc, signatures: Rows) -> Rows:
    found = [
        {"what": "signature", "id": row["id"], "by": row["void_by"]} for row in signatures if row["void_by"] is not None
    ]
    return found + _void_records(facts)


def _void_records(facts: Doc) -> Rows:
    """The jaw relation record, when wax or a base was changed after it: its latest count and the first such change."""
    counts = [entry for entry in facts["answers"]["record.count"] if entry["value"] is not None]
    if not counts:
        return []
    past = facts["past"][counts[-1]["id"]]
    for reach in facts["adjustments"]:
        if "record" in reach["voids"] and reach["entry"]["id"] not in past:
            return [{"what": "record", "id": counts[-1]["id"], "by": cause(reach["entry"])}]
    return []


def _notes(facts: Doc, known: Rows) -> Rows:
    found = []
    for entry in known:
        if entry["kind"] == "note":
            row = {name: entry[name] for name in ("id", "value", "author", "at")}
            row.update({"step": entry["item"], "withdrawn": entry["id"] in facts["withdrawn"]})
            found.append(row)
    return found


def _checks(facts: Doc, known: Rows) -> Rows:
    """A supervisor's own readings: kept beside the judged ones, for agreement."""
    return [
        {name: entry[name] for name in ("id", "item", "value", "author", "at")}
        for entry in known
        if entry["kind"] == "check" and entry["id"] not in facts["withdrawn"]
    ]
