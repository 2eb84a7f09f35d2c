"""Folds the entries of one visit into its present state: rounds, withdrawals, staleness, acceptances, signatures."""

from chairapp.judge.shapes import Doc, Rows


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
      "signatures": [{"id", "author", "at", "role", "digest", "verdicts", "judge", "covers", "valid",
                      "void_by": null or {"id", "kind", "item", "author", "at"}}],
      "voids": [{"what": "record" or "signature", "id": what is void, "by": {"id", "kind", "item", "author", "at"}}],
      "notes": [{"id", "step", "value", "author", "at", "withdrawn"}],
      "checks": [{"id", "item", "value", "author", "at"}],
      "events": [entries of kinds attachment, printed, movement, outcome],
      "unknown": [entries of a newer tablet: kinds or items this sequence does not know],
      "entries": every entry once, in (clock, id) order (the page may drop it; `judge_state` needs it)
    }

    Raises InputError for entries of the wrong shape.
    """
    raise NotImplementedError
