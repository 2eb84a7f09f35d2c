// Questions about the sequence document of the visit: its items, its texts, and what comes next.
import { desk, row } from "tm_state";
import { capital, fill, listed, signed, t } from "tm_words";

/** Stations in the order in which they are gone round: from the patient's right molars over the front to the left. */
export const STATIONS = [
  "molar_right",
  "premolar_right",
  "canine_right",
  "front",
  "canine_left",
  "premolar_left",
  "molar_left",
];
const CLINICAL = 13; // steps the signature covers: 1 to 13

let specs = { of: null, items: {}, steps: {} };

function indexed() {
  if (specs.of !== desk.sequence) {
    specs = { of: desk.sequence, items: {}, steps: {} };
    desk.sequence.steps.forEach((step, at) => {
      specs.steps[step.id] = at;
      for (const item of step.items) specs.items[item.id] = { ...item, step: step.id, at };
    });
  }
  return specs;
}

export const spec = (item) => indexed().items[item] ?? null;
export const stepAt = (step) => indexed().steps[step] ?? -1;
export const isClinicalStep = (step) => stepAt(step) >= 0 && stepAt(step) < CLINICAL;

/** The step under which an entry's item is shown: an item's own, or the step itself. */
export const stepOf = (item) => spec(item)?.step ?? (stepAt(item) >= 0 ? item : null);

/** A text of the sequence in the visit's language, with English in place of a missing one; "" when there is none. */
export function say(key, params = {}) {
  const texts = desk.sequence?.texts ?? {};
  return fill(texts[desk.language]?.[key] ?? texts.en?.[key] ?? "", params);
}

export const cautions = (step) => desk.sequence.steps[stepAt(step)].cautions;
export const title = (step) => say(`step.${step}.title`);
export const label = (item) => say(`item.${item}.label`);
export const unit = (item) => (spec(item)?.unit ? say(`unit.${spec(item).unit}`) : "");
export const choiceText = (item, value) => say(`choice.${item}.${value}`) || say(`choice.${value}`) || value;
/** "Upper rim, height" */
export const faceText = (rim, surface) => `${capital(say(`rim.${rim}`))}, ${say(`surface.${surface}`)}`;

/** What was changed at each place, in words: "+1.0 mm front and +0.5 mm left canine". */
export const changesText = (stations) =>
  listed(
    STATIONS.filter((s) => s in stations).map((s) =>
      t("change.at", { mm: signed(stations[s], 0.5), place: stationText(s) }),
    ),
  );

export const stationText = (station) => say(`station.${station}`);

/** Whether changing the wax changes what this step finds. */
export const isWaxed = (step) => desk.sequence.disturbs.some((one) => one.stale.includes(step));

/** Whether an item is asked at present: some are skipped by the answer to another. */
export const asked = (item) =>
  Object.entries(spec(item)?.unless ?? {}).every(([other, values]) => !values.includes(row(other).value));

export function isRequired(item) {
  const it = spec(item);
  return (
    it.required ||
    Object.entries(it.required_from).some(([other, least]) => row(other).value !== null && row(other).value >= least)
  );
}

/**
 * The verdict as it is shown. Guidance of which nothing is answered yet is open; the review is what its signatures
 * are.
 */
export function verdictOf(step) {
  const about = desk.verdict?.steps[step];
  if (!about) return "open";
  if (step === "review") return desk.state.signed ? "fits" : "open";
  return about.required || isBegun(step) ? about.verdict : "open";
}

const isBegun = (step) => desk.sequence.steps[stepAt(step)].items.some(({ id }) => row(id).status !== "open");

/** A step that wants attention: required and neither fitting nor accepted, or guidance with nothing answered yet. */
function isWaiting({ id, screens }) {
  if (desk.verdict?.steps[id]?.required) return !["fits", "accepted"].includes(verdictOf(id));
  return screens.some(spec) && !isBegun(id);
}

/** The step proposed after this one: what has become stale first, then what is open further on, else the review. */
export function nextStep(steps, step) {
  const clinical = steps.filter((one) => isClinicalStep(one.id)),
    at = steps.findIndex((one) => one.id === step);
  const stale = clinical.find((one) => one.id !== step && verdictOf(one.id) === "stale");
  const ahead = clinical.find((one) => steps.indexOf(one) > at && isWaiting(one));
  return (stale ?? ahead ?? steps[Math.max(at + 1, clinical.length)] ?? null)?.id ?? null;
}

/** [step, item] before or after a screen; null at either end of the walk. */
export function beside(steps, step, item, way) {
  const here = steps.find((one) => one.id === step),
    screens = here.screens.filter(asked);
  const to = screens.indexOf(item) + way;
  if (to >= 0 && to < screens.length) return [step, screens[to]];
  const other = way > 0 ? nextStep(steps, step) : steps[steps.indexOf(here) - 1]?.id;
  if (!other) return null;
  const all = steps.find((one) => one.id === other).screens.filter(asked);
  return [other, way > 0 ? firstWaiting(all) : all[all.length - 1]];
}

/** Where a step is entered: at the first of its questions that waits for an answer. */
export const firstWaiting = (screens) =>
  screens.find((item) => spec(item) && isRequired(item) && row(item).status !== "fresh") ?? screens[0];

/** The value of an item in words, for lists and for the review. */
export function valueText(item, value, number) {
  const it = spec(item);
  if (value === null || value === undefined) return t("value.none");
  if (value === "looks_parallel" || it.kind === "choice") return choiceText(item, value);
  if (it.kind === "text") return value;
  if (it.kind === "list") return value.map((one) => choiceText(item, one)).join(", ");
  if (it.kind !== "stations")
    return [number(value, it.pad), unit(item)].filter(Boolean).join(it.unit === "deg" ? "" : " ");
  return STATIONS.filter((s) => s in value)
    .map((s) => (value[s] === true ? stationText(s) : `${stationText(s)} ${number(value[s], it.pad)}`))
    .join(", ");
}
