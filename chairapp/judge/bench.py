"""Step 3: the rims on the bench. Measures are starting values (notes); sealing and heels are required."""

from chairapp.judge.findings import choice_findings, number_findings, reading_findings
from chairapp.judge.shapes import Doc, Rows


def bench(visit: Doc) -> Rows:
    """Every item against its own band or list."""
    found: Rows = []
    for item in visit["steps"]["bench"]["items"]:
        row = visit["rows"][item["id"]]
        if item["kind"] == "choice":
            found = found + choice_findings(item, row)
        elif item["kind"] == "reading":
            found = found + reading_findings(item, row) + number_findings(item, row)
    return found
