// Signing in on the tablet. Somebody new needs the network once; then their PIN opens it without. What the clinic says in
// the meantime (the PIN was changed, the person has left) is heard at the next sign-in with the network on.
import * as replica from "tm_replica";
import * as store from "tm_people_store";
import { newKey, prove } from "tm_person_key";
import { matches, verifierOf } from "tm_pin";
import { t } from "tm_words";

const DAY_MS = 24 * 3600 * 1000;
const KNOWN_DAYS = 30; // until somebody has to sign in with the network on again, where the node does not say
const PATIENCE_MS = 8000;
const IMPATIENCE_MS = 3000; // when the answer without the network is known already
const SEEN_EVERY_MS = 15 * 1000;

const hearers = new Set();
const others = new BroadcastChannel("threemark-people");
let seenAt = 0;

export { clear as forgetEverybody, knownIds, waitOf } from "tm_people_store";

/** `heard(id or null, notice)` hears who is signed in, from this tab or another; `notice` says why nobody is any more. */
export function subscribe(heard) {
  hearers.add(heard);
}

/** Who is still signed in after the page was left, unless that is `idle` ms ago. null for nobody. */
export async function present(idle) {
  const session = await store.session();
  return session && (await store.time()) - session.at < idle ? session.person : null;
}

/**
 * Sign in. Resolves to null when that is done, else to {why, do, wait}: `wait` ms must pass before the next try. `device`
 * is this tablet's id: whoever was known on it under another has to be known anew. `always`: also when time is up.
 */
export async function signIn(id, pin, tablet) {
  try {
    return await tried(id, pin, tablet);
  } catch (error) {
    if (!(error instanceof DOMException)) throw error;
    if (error.name === "QuotaExceededError") return { why: t("store.full"), do: t("store.full_do"), wait: 0 };
    return { why: t("store.no_sign_in"), do: t("store.no_sign_in_do"), wait: 0 };
  }
}

async function tried(id, pin, { device, always = false }) {
  const wait = await store.countTry(id);
  if (wait) return { why: t("pin.locked"), do: "", wait };
  const row = await store.person(id);
  const known = row.verifier && row.device === device && (always || row.until > (await store.time()));
  if (known && (await matches(pin, row))) {
    await enter(id);
    renew(row, pin);
    return null;
  }
  return known ? elsewhere(row, pin, device) : firstTime(row, pin, device);
}

/** Nobody is signed in from now on. */
export async function lock(notice = "") {
  await store.keepSession(null);
  tell(null, notice);
}

/** Somebody is at work: said at most every few seconds. */
export async function seen(id) {
  if (Math.abs(Date.now() - seenAt) < SEEN_EVERY_MS) return;
  seenAt = Date.now();
  await store.keepSession(id);
}

/** {key, proof} of a signature by this person; null where they have no key here. */
export async function proofOf(id, visit, value) {
  const row = await store.person(id);
  return row?.key ? prove(row, visit, id, value) : null;
}

others.onmessage = ({ data }) => hearers.forEach((heard) => heard(data.id, data.notice));

function tell(id, notice = "") {
  hearers.forEach((heard) => heard(id, notice));
  others.postMessage({ id, notice });
}

async function enter(id) {
  await store.uncount(id, { all: true });
  await store.keepSession(id);
  seenAt = Date.now();
  tell(id);
}

/** The PIN is wrong here; it may have been changed at the clinic. */
async function elsewhere(row, pin, device) {
  if (replica.status().online === false) return wrong(row.id);
  const answer = await asked(row, pin, IMPATIENCE_MS);
  if (answer.until) return admitted(row, pin, device, answer.until);
  return answer.refused && answer.refused.field !== "pin" ? answer.refused : wrong(row.id);
}

/** Not known here, or for too long not seen by the clinic. */
async function firstTime(row, pin, device) {
  const mine = row.key && row.device === device ? row : { ...row, ...(await newKey()) };
  const answer = await asked(mine, pin, PATIENCE_MS);
  if (answer.until) return admitted(mine, pin, device, answer.until);
  if (answer.refused) return answer.refused.field === "pin" ? wrong(row.id, answer.refused) : answer.refused;
  await store.uncount(row.id, { all: false });
  return { why: t(row.verifier ? "pin.over" : "pin.first"), do: t("pin.online"), wait: 0 };
}

async function admitted(row, pin, device, until) {
  const { key, jwk, thumbprint } = row;
  await store.keep(row.id, { key, jwk, thumbprint, device, until, ...(await verifierOf(pin)) });
  await enter(row.id);
  return null;
}

async function wrong(id, said) {
  const wait = await store.waitOf(id);
  return { why: said?.status === 429 ? said.why : t("pin.wrong"), do: wait ? "" : t("pin.again"), wait };
}

/** With the network on, the time limit begins anew; what was changed at the clinic is heard. Nobody waits for this. */
async function renew(row, pin) {
  const { until, refused } = await asked(row, pin, PATIENCE_MS);
  if (until) await store.keep(row.id, { until });
  if (!refused || refused.status === 429) return;
  if (refused.field === "pin") await store.keep(row.id, { verifier: null });
  if (refused.field === "person") await store.forget(row.id);
  const session = await store.session();
  if (["pin", "person"].includes(refused.field) && session?.person === row.id) await lock(t(`pin.${refused.field}_changed`));
}

/** Ask the clinic: {until} in steady time, {refused}, or {} when it does not answer. */
async function asked({ id, jwk }, pin, timeout) {
  try {
    const body = { person: id, pin, jwk };
    const { value, date } = await replica.ask("/people/enrol", { method: "POST", body, timeout });
    return { until: (await store.time()) + lasts(value.until, date) };
  } catch (error) {
    if (!(error instanceof replica.ReplicaError)) throw error;
    return error.code === "unreachable" || error.status >= 500 ? {} : { refused: error };
  }
}

/** For how long, by the node's own clock: this tablet's may be wrong. */
function lasts(until, date) {
  const now = Date.parse(date ?? "") || Date.now(),
    given = Date.parse(until ?? "");
  return Number.isNaN(given) ? KNOWN_DAYS * DAY_MS : given - now;
}
