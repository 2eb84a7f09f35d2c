// What the judge works out from readings, shown beside the pads they come from.
import { h } from "vue";
import { desk } from "tm_state";
import { say } from "tm_steps";
import { rounded, t } from "tm_words";

const SHOWN = {
  "vertical.rest": distance,
  "vertical.occlusal": distance,
  "plane.front": (all) => overRim(all.plane_front),
  "plane.right": (all) => overRim(all.plane_right),
  "plane.left": (all) => overRim(all.plane_left),
  "teeth.bizygomatic": (all) => incisor(all.central_incisor.bizygomatic),
  "teeth.inner_canthal": (all) => incisor(all.central_incisor.inner_canthal),
  "marks.placed": (all) => all.marks_spread !== null && figure("spread", { share: rounded(all.marks_spread) }),
  "marks.misfit": (all) =>
    known(all.marks_fit?.possible_turn_deg) && figure("turn", { turn: rounded(all.marks_fit.possible_turn_deg) }),
};

/** What is known through this item, or null. */
export const derived = (item) => (desk.verdict && SHOWN[item]?.(desk.verdict.derived)) || null;

function distance({ interocclusal_distance: found }) {
  if (!found || !known(found.value)) return null;
  const value = rounded(found.value),
    skin = h("p", { class: "aside" }, say("caution.skin"));
  const text = known(found.low)
    ? t("derived.distance_range", { value, low: rounded(found.low), high: rounded(found.high) })
    : t("derived.distance_is", { value });
  return h("dl", { class: "derived" }, [h("dt", t("derived.distance")), h("dd", text), skin]);
}

const known = (value) => value !== null && value !== undefined;
const overRim = (found) =>
  found && known(found.mm_over_rim) && figure("over_rim", { mm: rounded(Math.abs(found.mm_over_rim)) });
const incisor = (width) => known(width) && figure("incisor", { width: rounded(width) });
const figure = (name, params) =>
  h("dl", { class: "derived" }, [h("dt", t(`derived.${name}`)), h("dd", t(`derived.${name}_is`, params))]);
