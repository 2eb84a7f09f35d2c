// Which drawing stands beside which question, and with which of the visit's values it is drawn.
import { cloneVNode } from "vue";
import { closing, heels, marks, pad } from "tm_draw_rims";
import { face, height, nasolabial, side } from "tm_draw_head";
import { corners, display, edgeOnLip, lips } from "tm_draw_mouth";
import { lines, rims, section } from "tm_draw_section";
import { row } from "tm_state";
import { say, spec, unit, valueText } from "tm_steps";
import { num, rounded, t } from "tm_words";

const USUAL_ANGLE = 100; // degrees, drawn where nothing is read yet: about the middle of the band
const SLOPES = { forward: 80, upright: 90, inward: 100 };
const ANGLES = { collapsed: 128, supported: USUAL_ANGLE, strained: 78 };
const SPEAKING = { clear: 1.5, touch: 0, wide: 4 }; // mm between the rims on S
const AT_CORNERS = { level: 0, above: 2, below: -2 }; // mm, drawn where no number is given

const DRAWINGS = {
  "seating.points": () => height(given("seating.points")),
  "seating.tragus": () => side("right", given("seating.tragus"), null),
  "existing.rest": measured,
  "existing.occlusal": measured,
  "existing.display": (item) => display(mean(item) ?? 1.5, said(item)),
  "existing.support": (item) => nasolabial(ANGLES[given(item)] ?? USUAL_ANGLE),
  "bench.upper_front_height": (item) => section("upper", "height", undefined, said(item)),
  "bench.lower_front_height": (item) => section("lower", "height", undefined, said(item)),
  "bench.front_width": (item) => section("upper", "width", undefined, said(item)),
  "bench.back_width": (item) => section("upper", "width", 90, said(item)),
  "bench.upper_inclination": (item) => section("upper", "slope", mean(item) ?? undefined, said(item)),
  "bench.lower_inclination": (item) => section("lower", "slope", SLOPES[given(item)]),
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
  "vertical.s_space": (item) => rims({ gap: mean(item) ?? SPEAKING.clear, shows: "gap", said: said(item) }),
  "vertical.s_sound": (item) => rims({ gap: SPEAKING[given(item) ?? "clear"], shows: "gap" }),
  "vertical.m_rest": (item) => lips(given(item) ?? "easy"),
  "vertical.face": (item) => lips({ balanced: "easy" }[given(item)] ?? given(item) ?? "easy"),
  "overjet.gap": inFront,
  "lines.midline": () => guided("midline"),
  "lines.midline_shift": () => guided("midline"),
  "lines.canines": () => guided("canines"),
  "lines.high_lip": () => guided("high"),
  "teeth.curve": () => guided("canines"),
  "marks.one_position": (item) => marks(given("marks.placed") ?? {}, ["slides", "rocks"].includes(given(item))),
};

/** The drawing of an item with its text alternative, or null. */
export function drawing(item) {
  const drawn = DRAWINGS[item]?.(item);
  return drawn ? cloneVNode(drawn, { "aria-label": inWords(item, drawn.props["data-drawing"]) }) : null;
}

function inWords(item, name) {
  const value = given(item),
    about = t(`drawing.${name}`);
  const drawnAs = row(item).readings.length ? said(item) : value === null ? "" : valueText(item, value, num);
  return drawnAs ? t("drawing.with", { drawing: about, value: drawnAs }) : about;
}

/** The present answer, also one that lacks places yet; one that is stale is drawn no longer. */
const given = (item) => (row(item).status === "stale" ? null : row(item).value);

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

function inFront(item) {
  const mm = given(item)?.front;
  return rims({ overjet: mm, shows: "overjet", said: mm === undefined ? "" : num(mm, spec(item).pad) });
}

const guided = (shows) =>
  lines({
    shift: given("lines.midline_shift") ?? 0,
    high: given("lines.high_lip") ?? (shows === "high" ? 8 : null),
    shows,
    right: say("side.right"),
    left: say("side.left"),
  });

const aboveCorners = (answer) => given("lower.commissure_mm") ?? AT_CORNERS[answer] ?? 0;
const isTouching = (item) => !["clear", null].includes(given(item));
