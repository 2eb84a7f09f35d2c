"""Step 11: bases that touch at the heels hold the rims apart, or the jaw back."""

from chairapp.judge.findings import choice_findings
from chairapp.judge.shapes import Doc, Rows


def bases(visit: Doc) -> Rows:
    """Both heels, closing and with the jaw forward."""
    found: Rows = []
    for name in ("closing", "forward"):
        item = visit["items"]["bases." + name]
        for one in choice_findings(item, visit["rows"][item["id"]]):
            one["code"] = "heels_" + name
            one["params"] = {"side": one["value"]}
            found.append(one)
    return found
