// What this tablet keeps of the people who sign in on it, in a database of its own beside the entries: their verifiers,
// their keys, how often a PIN was wrong, and who is signed in. Every time in it is that of the steady clock.
import { waitAfter } from "tm_lockout";
import { NEW_CLOCK, steady } from "tm_steady_clock";

const NAME = "threemark-people";
const STORES = ["people", "meta"];

let opening = null;

/** Somebody this tablet knows, {id, device, salt, rounds, verifier, key, jwk, thumbprint, until, wrong, waits}, or null. */
export async function person(id) {
  return (await transact("readonly", ({ people }) => done(people.get(id)))) ?? null;
}

/** Ids of everybody with a verifier here. */
export async function knownIds() {
  const rows = await transact("readonly", ({ people }) => done(people.getAll()));
  return rows.filter((row) => row.verifier).map((row) => row.id);
}

/** Keep these of a person; the rest stays. */
export function keep(id, values) {
  return transact("readwrite", async ({ people }) => {
    people.put({ ...((await done(people.get(id))) ?? { id }), ...values });
  });
}

export const forget = (id) => transact("readwrite", ({ people }) => void people.delete(id));

/**
 * Count a try before it is made, so that one cut off half way counts too. Returns how many milliseconds are still to
 * be waited; 0 when it may be made.
 */
export function countTry(id) {
  return transact("readwrite", async ({ people, meta }) => {
    const now = await timeIn(meta),
      row = (await done(people.get(id))) ?? { id };
    if (row.waits > now) return row.waits - now;
    const wrong = (row.wrong ?? 0) + 1;
    people.put({ ...row, wrong, waits: now + waitAfter(wrong) });
    return 0;
  });
}

/** The last try was right, or was not answered: it does not count. */
export function uncount(id, { all }) {
  return transact("readwrite", async ({ people }) => {
    const row = await done(people.get(id));
    if (row) people.put({ ...row, wrong: all ? 0 : row.wrong - 1, waits: 0 });
  });
}

/** How many milliseconds this person still has to wait. */
export function waitOf(id) {
  return transact("readwrite", async ({ people, meta }) => {
    const now = await timeIn(meta);
    return Math.max(0, ((await done(people.get(id)))?.waits ?? 0) - now);
  });
}

/** The steady time; seen, so that a clock set back later goes on from here. */
export const time = () => transact("readwrite", ({ meta }) => timeIn(meta));

/** Who is signed in, {person, at}: `at` is when they were last seen at work. null for nobody. */
export async function session() {
  return (await transact("readonly", ({ meta }) => done(meta.get("session")))) ?? null;
}

export function keepSession(id) {
  return transact("readwrite", async ({ meta }) => {
    const at = await timeIn(meta);
    meta.put(id ? { person: id, at } : null, "session");
  });
}

/** Forget everybody. The clock stays: it must not start anew. */
export function clear() {
  return transact("readwrite", ({ people, meta }) => {
    people.clear();
    meta.delete("session");
  });
}

async function timeIn(meta) {
  const { time: now, clock } = steady((await done(meta.get("clock"))) ?? NEW_CLOCK, Date.now());
  meta.put(clock, "clock");
  return now;
}

/** Resolves to what `work` does once it is on disk; a failure anywhere leaves nothing of it. */
async function transact(mode, work) {
  opening ??= open();
  const transaction = (await opening).transaction(STORES, mode, { durability: "strict" });
  const written = new Promise((ok, fail) => {
    transaction.oncomplete = ok;
    transaction.onabort = () => fail(transaction.error);
  });
  const result = await work(Object.fromEntries(STORES.map((name) => [name, transaction.objectStore(name)])));
  await written;
  return result;
}

function open() {
  return new Promise((ok, fail) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore("people", { keyPath: "id" });
      request.result.createObjectStore("meta");
    };
    request.onerror = () => {
      opening = null;
      fail(request.error);
    };
    request.onsuccess = () => {
      const lost = () => (opening = null);
      request.result.onversionchange = () => (request.result.close(), lost());
      request.result.onclose = lost;
      ok(request.result);
    };
  });
}

function done(request) {
  return new Promise((ok, fail) => {
    request.onsuccess = () => ok(request.result);
    request.onerror = () => fail(request.error);
  });
}
