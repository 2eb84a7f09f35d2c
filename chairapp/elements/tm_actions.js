// What a tap does: look whether it is possible, then keep it on this tablet. Every action resolves to null, or to what
// is wrong as {why, do}: the page shows that beside the field and keeps what was typed.
import * as judge from "tm_judge";
import * as replica from "tm_replica";
import { newCode } from "tm_box_code";
import { proofOf } from "tm_people";
import { author, desk, documentOf } from "tm_state";
import { label, spec, title } from "tm_steps";
import { t } from "tm_words";


/** Opens a visit at this chair. Resolves to {visit} or {why, do}. */
export async function openVisit({ chair, language }) {
  const digest = desk.clinic.sequence,
    visit = replica.uuid7();
  if (!(await documentOf(digest))) return { why: t("new.no_sequence"), do: t("new.no_sequence_do") };
  const device = await replica.device();
  if (!device) return { why: t("lamp.unpaired"), do: t("lamp.unpaired_do") };
  const value = { sequence: (await documentOf(digest)).id, digest, box: newCode(device.letter), chair, language };
  const fault = await keep({ visit, kind: "opened", value });
  return fault ?? { visit };
}

export const answer = (item, value) => checked({ kind: "answer", item, value });
export const reading = (item, value) => checked({ kind: "reading", item, value });
export const withdraw = (item, id) => keep({ kind: "withdrawal", item, of: id });
export const note = (step, text) => checked({ kind: "note", item: step, value: text });

/** Keeps a picture with the visit, at this question. Its bytes are on this tablet before the entry that names them. */
export const attach = (item, picture) =>
  kept(async () => {
    const value = await replica.putBlob(picture, picture.type);
    await replica.add(whole({ kind: "attachment", item, value }));
  });

/** Keeps a picture again that was withdrawn: one more entry of the same bytes. */
export const attachAgain = (item, value) => keep({ kind: "attachment", item, value });

let turn = Promise.resolve();

/** Taps one after another, where each changes what the one before it left: two quick ones must not lose the first. */
export function inTurn(tap) {
  const mine = turn.then(tap);
  turn = mine.catch(() => null); // who tapped is told; the next tap has its turn all the same
  return mine;
}

/** Wax added (+) or taken off (-), or a base relieved. One entry for each of `changes`, all or none. */
export async function adjust(changes) {
  const drafts = changes.map(({ rim, surface, stations }) => ({
    kind: "adjustment",
    item: "wax",
    value: { rim, surface, stations },
  }));
  for (const draft of drafts) {
    const fault = await faultOf(draft);
    if (fault) return fault;
  }
  return kept(() => replica.addMany(drafts.map(whole)));
}

/** Accepts the step's findings as they stand now, for this reason. */
export function accept(step, reason) {
  const findings = desk.verdict.steps[step].findings.filter((one) => one.level !== "note");
  return checked({
    kind: "acceptance",
    item: step,
    value: { reason, codes: findings.map((one) => [one.code, one.value]) },
  });
}

/** Signs what this tablet holds of steps 1 to 13, with the signer's own key. `role` says as what they sign. */
export async function sign(role) {
  let covered;
  try {
    covered = await judge.toSign(desk.sequence, desk.entries);
  } catch (error) {
    return { why: error.message, do: "" };
  }
  const verdicts = Object.fromEntries(Object.entries(desk.verdict.steps).map(([step, one]) => [step, one.verdict]));
  const value = {
    role,
    covers: covered.covers,
    digest: await replica.digest(covered.entries),
    verdicts,
    judge: desk.verdict.judge,
  };
  const proof = await proofOf(author().id, desk.visit, value);
  if (!proof) return { why: t("review.no_key"), do: t("review.no_key_do") };
  return checked({ kind: "signature", item: "review", value: { ...value, ...proof } });
}

async function checked(draft) {
  return (await faultOf(draft)) ?? keep(draft);
}

// A choice comes from the sequence document itself, so only what was typed is looked at: a tap must not wait for the
// judge.
// When the judge is broken a plain number is kept all the same: the node looks at it again, and nothing is lost.
async function faultOf(draft) {
  if (spec(draft.item)?.kind === "choice" || draft.value === "looks_parallel" || draft.value === null) return null;
  try {
    const fault = await judge.check(desk.sequence, whole(draft), desk.language);
    return fault && { ...fault, why: fault.why.replace(draft.item, () => label(draft.item) || title(draft.item)) };
  } catch (error) {
    return typeof draft.value === "string" && draft.kind !== "note" ? { why: error.message, do: "" } : null;
  }
}

const keep = (draft) => kept(() => replica.add(whole(draft)));
const whole = (draft) => ({ visit: desk.visit, author: author()?.id, ...draft });

async function kept(write) {
  try {
    await write();
    return null;
  } catch (error) {
    if (!(error instanceof replica.ReplicaError)) throw error;
    return { why: error.why ?? error.message, do: error.do ?? "" };
  }
}
