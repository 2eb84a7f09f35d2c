"""What the readings mean: plain functions over plain data that give the same digits on the server and in the browser.

    settle(sequence, entries) -> state          see settle.py for its shape
    judge(sequence, entries) -> verdict
    judge_state(sequence, state) -> verdict     the same from an already settled state

verdict = {
  "steps": {step: {"verdict": "open" | "stale" | "off" | "unsure" | "fits" | "accepted",
                   "required": bool, does it count for readiness,
                   "findings": [finding], worst first; see codes.py
                   "acceptance": null or {"id", "author", "at", "reason", "holds": bool}}},
  "derived": {
     "interocclusal_distance": {"value", "low", "high"}, null where not known; low and high the 95 % interval,
     "existing_interocclusal_distance": mm or null, "ovd_change", "display_change", "distance_change": mm or null,
     "plane_front", "plane_right", "plane_left": {"value": deg or null, "mm_over_rim": mm or null},
     "contact_pattern": {"name": "even" | "apart" | "tilted" | "rocking" | "local" | null, "where": [places]},
     "marks_spread": 0..1 or null, "marks_fit": {"dx", "dy", "turn_deg", "possible_turn_deg", "left_over"},
     "central_incisor": {"bizygomatic", "inner_canthal"}},
  "plan": {
     "upper", "lower": {station: mm}, unrounded, + add, - take off; {} when there is no plan for that rim,
     "shown": {"upper", "lower": {station: mm}}, in steps of half a millimetre; lower from the shown upper,
     "labial": {"upper": {station: mm}, "lower": {}}, a direction,
     "runs": [{"rim", "surface", "mm", "stations": [...]}], shown changes as a technician would say them, upper first,
     "corrects": ["display", "front", "right", "left", "gap", "distance"], those it corrects; the others are held,
     "nothing": true when there is a whole plan and it changes nothing,
     "overjet": expected change in mm or null,
     "why": [finding], why there is no plan or only the upper part (codes plan_measure_first, plan_upper_only),
     "notes": [finding] (plan_two_rounds, plan_overjet), "conflicts": [finding] (plan_conflict)},
  "ready": every required step before the jaw relation record fits or is accepted,
  "todo": [those steps that do not, in order],
  "voids": [{"what": "record" | "signature", "id", "by": {"id", "kind", "item", "author", "at"}}]
}
"""

from chairapp.judge.settle import settle
from chairapp.judge.verdict import judge, judge_state

JUDGE = "1"

__all__ = ["JUDGE", "judge", "judge_state", "settle"]
