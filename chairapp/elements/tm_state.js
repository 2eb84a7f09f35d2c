// The visit on the table: its entries, what the judge says of it, who is signed in, and where the data is.
//
// The judge answers a moment after an entry is kept; until then `row` lays the entries it has not seen over its last
// word, so that a tap shows at once.
import { markRaw, reactive, shallowReactive, watch } from "vue";
import { forgetDrafts } from "tm_draft";
import { watchIdle } from "tm_idle";
import * as judge from "tm_judge";
import { keepOwnLanguage, offered, ownLanguage } from "tm_own_language";
import * as people from "tm_people";
import * as release from "tm_release";
import * as replica from "tm_replica";
import { route } from "tm_route";
import { speak, t, worded } from "tm_words";

const MINUTE_MS = 60 * 1000;
const IDLE_MINUTES = 10; // where the clinic does not say
const KEEP_DAYS = 30;
const CLINIC_VISIT = "00000000-0000-7000-8000-0000000000c1"; // as in chairapp/clinic.py

export const desk = reactive({
  ready: false,
  problem: "",
  storeless: false, // this browser lets the page keep nothing
  clinic: null,
  device: null,
  author: null, // staff id of who is signed in
  asking: false, // somebody else is about to sign in
  notice: "", // why nobody is signed in any more
  visit: null,
  loaded: false,
  missing: false,
  sequence: null,
  language: "en", // of the visit; without one the tablet's own
  languages: ["en"], // a visit can be walked in
  entries: [],
  state: null,
  verdict: null,
});
export const lamp = reactive({ sync: replica.status(), release: release.status(), judge: judge.status() });

/** Who is signed in, as the clinic document has them; null for nobody. */
export const author = () => personOf(desk.author);
export const personOf = (id) => desk.clinic?.staff.find((person) => person.id === id) ?? null;
export const nameOf = (id) => personOf(id)?.name ?? id ?? "";

/** What signing in needs to know of the tablet. One that was blocked lets in whoever has to save what it holds. */
export const tabletOf = () => ({ device: desk.device?.device, always: lamp.sync.removed === "blocked" });

const idleLimit = () => (desk.clinic?.idle_minutes ?? IDLE_MINUTES) * MINUTE_MS;

/**
 * Present state of an item, entries the judge has not seen yet included. See chairapp/judge/settle.py for its
 * shape.
 */
export function row(item) {
  const settled = desk.state?.items[item] ?? UNKNOWN;
  return (unjudged.get(item) ?? []).reduce(laid, settled);
}

/** Fetch a document the tablet may hold: the same object each time, so that the judge needs it once only. */
export async function documentOf(digest) {
  if (!documents.has(digest)) {
    const found = await replica.document(digest);
    if (found === null) return null;
    if (!documents.has(digest)) documents.set(digest, markRaw(found)); // another call may have been quicker
  }
  return documents.get(digest);
}

export const opening = () => desk.entries.find((entry) => entry.kind === "opened") ?? null;

const UNKNOWN = {
  status: "open",
  fresh: false,
  value: null,
  id: null,
  author: null,
  at: null,
  readings: [],
  stale_by: null,
  rounds: [],
  beaten: [],
  withdrawn: [],
  missing: [],
};
const documents = new Map();
const unjudged = shallowReactive(new Map()); // by item, so that only what shows that item is drawn anew for it
let held = new Map();

function laid(known, entry) {
  const { id, author, at } = entry,
    photo = entry.value?.photo !== undefined; // a reading taken on a photograph
  const came = { id, author, at, photo, value: photo ? entry.value.photo : entry.value };
  if (entry.kind === "answer")
    return { ...known, ...came, status: entry.value === null ? "open" : "fresh", stale_by: null };
  if (entry.kind === "reading" && !known.readings.some((one) => one.id === entry.id))
    return { ...known, ...came, value: null, status: "fresh", stale_by: null, readings: [...known.readings, came] };
  if (entry.kind === "withdrawal") return { ...known, readings: known.readings.filter((one) => one.id !== entry.of) };
  return known;
}

async function openVisit(visit) {
  held = new Map();
  unjudged.clear();
  Object.assign(desk, {
    visit,
    loaded: false,
    missing: false,
    entries: [],
    state: null,
    verdict: null,
    sequence: null,
    problem: "",
  });
  if (!visit) return speakNow();
  await take(await replica.entries(visit), visit);
}

/** Entries that became known, from here, another tab or the node. */
async function take(list, visit = desk.visit) {
  const fresh = list.filter((entry) => entry.visit === visit && !held.has(entry.id));
  if (visit !== desk.visit) return;
  for (const entry of fresh) held.set(entry.id, markRaw(entry));
  if (fresh.length) desk.entries = [...held.values()];
  for (const entry of fresh) unjudged.set(entry.item, [...(unjudged.get(entry.item) ?? []), entry]);
  if (!desk.sequence) await prepare(visit);
  if (fresh.length || !desk.loaded) await ask(visit);
}

/** The sequence document the visit was opened with; without it nothing can be asked and the page says so. */
async function prepare(visit) {
  const opened = opening();
  const document = opened && (await documentOf(opened.value.digest));
  if (visit !== desk.visit) return;
  desk.missing = !document;
  speakNow();
  if (document) desk.sequence = document;
}

/** In the language of the visit on the table; without one in the tablet's own. */
function speakNow() {
  const opened = desk.visit && opening();
  if (opened || !desk.visit) desk.language = opened ? opened.value.language : ownLanguage(desk.languages);
  speak(desk.language, desk.clinic?.time_zone);
}

/** The tablet speaks this language from now on, until a visit says another. */
export function speakAlways(language) {
  keepOwnLanguage(language);
  speakNow();
}

async function ask(visit) {
  if (!desk.sequence) return;
  const shown = new Set(held.keys());
  try {
    const answer = await judge.view(visit, desk.sequence, [...held.values()], desk.language);
    if (visit !== desk.visit) return;
    Object.assign(desk, { state: markRaw(answer.state), verdict: markRaw(answer.verdict), problem: "" });
    for (const [item, list] of [...unjudged]) leave(item, list.filter((entry) => !shown.has(entry.id)));
  } catch (error) {
    desk.problem = worded(error.message);
  } finally {
    if (visit === desk.visit) desk.loaded = true;
  }
}

const leave = (item, list) => (list.length ? unjudged.set(item, list) : unjudged.delete(item));

async function readClinic() {
  const clinic = await replica.document("clinic");
  desk.device = await replica.device();
  desk.clinic = clinic && markRaw(clinic);
  desk.languages = offered(clinic, clinic && (await documentOf(clinic.sequence)));
  speakNow();
}

/** Called once by the page's frame. Resolves when the tablet's own store is open; never waits for the network. */
export async function begin() {
  replica.subscribe(heard);
  judge.subscribe(() => (lamp.judge = judge.status()));
  release.subscribe(() => (lamp.release = release.status()));
  try {
    await replica.start({ causal: ["adjustment"], wanted, keepDays, over, remembered });
    await readClinic();
    await beginPeople();
  } catch (error) {
    desk.storeless = error.code === "storage";
    desk.problem = worded(desk.storeless ? error.why : error.message); // the page itself says then what to do
  }
  if (!desk.storeless) watch(() => route.visit, openVisit, { immediate: true });
  desk.ready = true;
  judge.start();
}

async function beginPeople() {
  people.subscribe((id, notice) => Object.assign(desk, { author: id, notice }));
  desk.author = await people.present(idleLimit());
  watchIdle({
    limit: idleLimit,
    active: () => desk.author !== null,
    seen: () => people.seen(desk.author),
    lock: lockIdle,
  });
}

/** Unless somebody is at work on this tablet in another tab. */
async function lockIdle() {
  if (!(await people.present(idleLimit()))) await people.lock(t("staff.idle"));
}

/** Not the clinic's own visit, which nodes keep to themselves; finished ones only if they were written here. */
const wanted = (row) => row.visit !== CLINIC_VISIT && (row.state !== "finished" || row.mine);

const keepDays = (clinic) => clinic?.keep_days ?? KEEP_DAYS;

/** A visit that is over may be let go of here once the clinic has it in its backup. */
const over = (state, entries) => state === "finished" || entries.some((entry) => entry.kind === "signature");

/** What an old visit is found by. */
const remembered = (entries) => entries.find((entry) => entry.kind === "opened")?.value.box ?? null;

/** The clinic removed this tablet and it is empty now: with the entries go the people and what was typed. */
async function forgetAll() {
  forgetDrafts();
  await people.forgetEverybody();
  Object.assign(desk, { author: null, asking: false, notice: "" });
}

/** Only what changed, so that nothing is drawn anew for the rest. */
function takeOver(known, status) {
  for (const [key, value] of Object.entries(status))
    if (String(known[key]) !== String(value)) known[key] = value; // plain values, and one list of ids
}

let documentsSeen = -1;

function heard(list, status) {
  if (status.removed === "cleared" && lamp.sync.removed !== "cleared") forgetAll();
  takeOver(lamp.sync, status);
  if (status.documents !== documentsSeen || !desk.clinic) {
    documentsSeen = status.documents;
    readClinic();
  }
  if (desk.visit && (list.length || desk.missing)) take(list);
}
