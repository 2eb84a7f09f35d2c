"""Step 15: the case box. What goes out undisinfected, or not known to be, is said."""

from chairapp.judge.findings import finding
from chairapp.judge.shapes import Doc, Rows


def packing(visit: Doc) -> Rows:
    """A note when something is packed and no disinfectant is recorded (CDC MMWR 2003;52(RR-17))."""
    items, agent = visit["rows"].get("packing.items"), visit["rows"].get("packing.agent")
    if items and agent and items["fresh"] and items["value"] and not agent["fresh"]:
        return [finding("not_disinfected", "packing.agent", "note")]
    return []
