"""Step 13: the jaw relation record, the guide lines, and the calculators for the teeth."""

from chairapp.judge.existing import number
from chairapp.judge.findings import choice_findings, finding, item_level, number_findings, reading_findings
from chairapp.judge.numbers import at_least, fix6
from chairapp.judge.shapes import Doc, Rows

GOLDEN = 0.618


def record(visit: Doc) -> Rows:
    """Records and their agreement (good methods scatter 0.3-0.5 mm: Utz et al. 2002, 2012), lines, calculators."""
    found = _count_findings(visit) + _agreement_findings(visit)
    for name in ("lines.midline", "lines.canines"):
        found = found + choice_findings(visit["items"][name], visit["rows"][name])
    return found + _shift_findings(visit) + _calculated(visit)


def central_incisor(visit: Doc) -> Doc:
    """Width in mm by two rules, side by side, null where not measured.

    A sixteenth of the bizygomatic width (supported and refuted: Radia et al. 2016 found no such relation); the inner
    canthal distance x 0.618 / 2 (J Prosthet Dent 2002;88:16-20).
    """
    face, canthi = number(visit, "teeth.bizygomatic"), number(visit, "teeth.inner_canthal")
    return {
        "bizygomatic": None if face is None else fix6(face / 16),
        "inner_canthal": None if canthi is None else fix6(canthi * GOLDEN / 2),
    }


def _count_findings(visit: Doc) -> Rows:
    count, item = number(visit, "record.count"), visit["items"]["record.count"]
    if count is None:
        return []
    level = item_level(item, count)
    if level != "fits":
        return [finding("record_none", item["id"], level, count, band=item["band"])]
    advised = visit["settings"]["record.advised"]
    if at_least(count, advised):
        return []
    return [finding("record_few", item["id"], "note", count, band=[advised, None], params={"advised": advised})]


def _agreement_findings(visit: Doc) -> Rows:
    """Out of its band is off once it is required, that is from two records on."""
    item, row = visit["items"]["record.agreement"], visit["rows"]["record.agreement"]
    required = dict(item, required=is_required(visit, item))
    return reading_findings(required, row) + number_findings(required, row, "record_disagree")


def is_required(visit: Doc, item: Doc) -> bool:
    """Required outright, or once another item's number is at least what the sequence says."""
    if item["required"]:
        return True
    due = item["required_from"]
    if not due:
        return False
    for other in due:
        value = number(visit, other)
        if value is not None and at_least(value, due[other]):
            return True
    return False


def _shift_findings(visit: Doc) -> Rows:
    shift, limit = number(visit, "lines.midline_shift"), visit["settings"]["lines.shift_note"]
    if shift is None or not at_least(abs(shift), limit):
        return []
    params = {"side": "left" if shift > 0 else "right"}
    band = [-limit, limit]
    return [finding("midline_shift", "lines.midline_shift", "note", shift, unit="mm", band=band, params=params)]


def _calculated(visit: Doc) -> Rows:
    """What the calculators give, each a note with its own warning."""
    found = []
    curve = number(visit, "teeth.curve")
    if curve is not None:
        found.append(finding("front_teeth_width", "teeth.curve", "note", curve, unit="mm"))
    widths = visit["derived"]["central_incisor"]
    for name in ("bizygomatic", "inner_canthal"):
        if widths[name] is not None:
            params = {"measured": number(visit, "teeth." + name)}
            found.append(finding("incisor_" + name, "teeth." + name, "note", widths[name], unit="mm", params=params))
    return found
