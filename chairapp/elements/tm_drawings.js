// Which drawing stands beside which question, and with which of the visit's values it is drawn.
import { closing, heels, marks, pad } from "tm_draw_rims";
import { face, height, nasolabial, side } from "tm_draw_head";
import { corners, display, edgeOnLip } from "tm_draw_mouth";
import { row } from "tm_state";
import { say, spec, unit } from "tm_steps";
import { rounded } from "tm_words";

const USUAL_ANGLE = 100; // degrees, drawn where nothing is read yet: about the middle of the band
const ANGLES = { collapsed: 128, supported: USUAL_ANGLE, strained: 78 };
const AT_CORNERS = { level: 0, above: 2, below: -2 }; // mm, drawn where no number is given

const DRAWINGS = {
  "seating.points": () => height(given("seating.points")),
  "seating.tragus": () => side("right", given("seating.tragus"), null),
  "existing.rest": measured,
  "existing.occlusal": measured,
  "existing.display": (item) => display(mean(item) ?? 1.5, said(item)),
  "existing.support": (item) => nasolabial(ANGLES[given(item)] ?? USUAL_ANGLE),
  "bench.heel": (item) => heels(!["short", null].includes(given(item)), false),
  "lip.support": (item) => nasolabial(ANGLES[given(item)] ?? USUAL_ANGLE),
  "lip.nasolabial": (item) => nasolabial(mean(item) ?? USUAL_ANGLE, said(item)),
  "display.rest": (item) => display(mean(item) ?? 1.5, said(item)),
  "display.fv": (item) => edgeOnLip(given(item)),
  "plane.front": (item) => face(mean(item) ?? 0, say("side.right"), say("side.left")),
  "plane.right": (item) => side("right", given("seating.tragus"), mean(item) ?? 0),
  "plane.left": (item) => side("left", given("seating.tragus"), mean(item) ?? 0),
  "lower.commissure": (item) => corners(aboveCorners(given(item))),
  "lower.commissure_mm": (item) => corners(aboveCorners(given("lower.commissure")), said(item)),
  "lower.pad_right": (item) => pad("right", given(item)),
  "lower.pad_left": (item) => pad("left", given(item)),
  "bases.closing": (item) => heels(isTouching(item), false),
  "bases.forward": (item) => heels(isTouching(item), true),
  "contact.gap": (item) => closing(given(item) ?? {}, say("side.right"), say("side.left")),
  "vertical.rest": measured,
  "vertical.occlusal": measured,
  "marks.one_position": (item) => marks(given("marks.placed") ?? {}, ["slides", "rocks"].includes(given(item))),
};

/** The drawing of an item, or null. */
export const drawing = (item) => DRAWINGS[item]?.(item) ?? null;

/** The present answer; one that is stale is drawn no longer. */
const given = (item) => (row(item).status === "fresh" ? row(item).value : null);

function mean(item) {
  const values = row(item).readings.map((one) => one.value);
  return values.length ? values.reduce((sum, x) => sum + x, 0) / values.length : null;
}

function said(item) {
  const value = mean(item) ?? given(item);
  return value === null ? "" : rounded(value, spec(item).pad) + (spec(item).unit === "deg" ? "" : " ") + unit(item);
}

function measured(item) {
  return height(given("seating.points"), mean(item) === null ? "" : rounded(mean(item), spec(item).pad));
}

const aboveCorners = (answer) => given("lower.commissure_mm") ?? AT_CORNERS[answer] ?? 0;
const isTouching = (item) => !["clear", null].includes(given(item));
