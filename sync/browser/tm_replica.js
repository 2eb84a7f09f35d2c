// The store and the hop of a browser: immutable entries in IndexedDB, an outbox, push and pull. Knows no item names.
//
// Import it as "tm_replica". Which modules a frozen page needs is found by their import lines; nothing has to be listed.

import { openStore } from "tm_replica_store";
import { openBlobs } from "tm_replica_blobs";
import { Direct } from "tm_replica_direct";
import { fileOf } from "tm_replica_file";
import { Hop, isDigest } from "tm_replica_hop";
import { Leave, isRemoval } from "tm_replica_leave";
import { Pace } from "tm_replica_send";
import { Turns } from "tm_replica_turns";
import { call } from "tm_replica_wire";
import { checkEnvelope, idAfter, idText, nfc } from "tm_entry";
import { ReplicaError } from "tm_replica_error";

export { canonical, checkEnvelope, digest, frontier, inOrder, sha256hex } from "tm_entry";
export { ReplicaError };

/**
 * An entry as design.md has it.
 * @typedef {{v: 1, id: string, visit: string, kind: string, item: ?string, value: *, of: ?string, seen: string[],
 *            at: string, clock: [number, number], device: string, author: string}} Entry
 *
 * What a caller gives of a new entry; the rest is filled in. `item`, `value` and `of` may be left out (null).
 * @typedef {{visit: string, kind: string, item?: ?string, value?: *, of?: ?string, author: string}} Draft
 *
 * A visit as this tablet knows it. `pending` counts its entries that are not sent yet; `mine` says that one of its
 * entries was written here; `state` is the node's word for it (null before the node was heard); `complete` is false
 * while the node is known to hold entries that are not here yet. `kinds` holds, oldest first, the entries of the
 * kinds asked for.
 * @typedef {{visit: string, entries: number, first: string, last: string, pending: number, mine: boolean,
 *            state: ?string, complete: boolean, kinds: Object<string, Entry[]>}} Visit
 *
 * Where the data is. `paired`: a token is held. `unauthorized`: the node does not take the token (the outbox is kept;
 * `pair` again). `needsCode`: the node pairs with a code only. `removed`: null, or what became of a tablet that the clinic
 * removed: "cleared" (handed in, then emptied) or "blocked" (the node takes nothing from it: everything is kept). `pending`: entries and attachments not sent yet. `refused`: entries the node turned away (kept, offered again daily).
 * `online`: whether the last call reached the node, null before the first. `lastSent`, `lastHeard`: RFC 3339 or null.
 * `lastError`: one sentence or null. `alarm`: a sentence when the node lost entries it had acknowledged, until dismissed.
 * `persisted`: whether the browser promised to keep the data, null before it was asked. `moreAtNode`: ids of visits of
 * which the node holds entries that are not here yet. `documents` grows by one whenever a document changed.
 * `awaySince`: since when the node has not answered, or null. `directTo`: the clinic's own address once `sendDirectly`
 * is worth offering, else null; `directOn`: whether entries go there until the node answers again; `directSent`: when
 * they last did, all of them; `directError`: why they do not.
 * @typedef {{started: boolean, paired: boolean, unauthorized: boolean, needsCode: boolean, removed: ?string,
 *            pending: number, refused: number,
 *            online: ?boolean, lastSent: ?string, lastHeard: ?string, lastError: ?string, alarm: ?string,
 *            persisted: ?boolean, moreAtNode: string[], documents: number, awaySince: ?string, directTo: ?string,
 *            directOn: boolean, directSent: ?string, directError: ?string}} Status
 */

const DEFAULTS = {
  causal: ["adjustment"],
  name: "Tablet",
  database: "threemark",
  base: "",
  wanted: (row) => row.state !== "finished" || row.mine,
  documentsOf: (entry) => (entry.kind === "opened" ? [entry.value?.digest].filter(isDigest) : []),
  documentsOfClinic: (clinic) => [clinic?.sequence].filter(isDigest),
  keepDays: () => 30,
  over: (state) => state === "finished",
  remembered: () => null,
  blobsOf: (entry) => (entry.kind === "attachment" ? [entry.value?.sha256].filter(isDigest) : []),
  purgeEvery: 24 * 3600 * 1000,
  timeout: 8000,
  retryMin: 1000,
  retryMax: 30000,
  poll: 20000,
  batch: 500,
  batchBytes: 1024 * 1024,
  directAfter: 5 * 60 * 1000,
};

const SEND_AFTER_MS = 250; // the screen first; and quick taps travel together

const state = {
  started: false, paired: false, unauthorized: false, needsCode: false, removed: null, pending: 0, refused: 0, online: null, lastSent: null,
  lastHeard: null, lastError: null, alarm: null, persisted: null, moreAtNode: [], documents: 0, awaySince: null,
  directTo: null, directOn: false, directSent: null, directError: null,
};
const subscribers = new Set();
let options = DEFAULTS;
let pace = new Pace(DEFAULTS);
let opening = null;
let openingFiles = null;
let starting = null;
let turns = null;
let otherTabs = null;
let writes = 0;

/**
 * Open the store, ask the browser to keep it, and begin to send and fetch. Call once a page, before anything else;
 * calling again changes nothing. Without a token the tablet pairs itself as soon as a node lets it; where none does
 * without a code, it waits for `pair`.
 *
 * given: {causal: kinds whose ids go into `seen` (["adjustment"]), name: the tablet's name at pairing ("Tablet"),
 *         database ("threemark"), base: where the node is ("", the page's own origin),
 *         wanted(row) -> whether a visit of the node's list is fetched (unfinished ones and those written here),
 *         documentsOf(entry) -> digests of documents this entry needs (value.digest of an "opened" entry),
 *         documentsOfClinic(document) -> digests of documents the clinic document needs (its `sequence`),
 *         keepDays(clinic document) -> days after which a visit that is over and backed up is let go of (30),
 *         over(state, entries) -> whether it is over (the node calls it finished), remembered(entries) -> what is kept of
 *         it to find it by, blobsOf(entry) -> attachments it names, purgeEvery (a day): milliseconds between looks,
 *         timeout (8000), retryMin (1000), retryMax (30000), poll (20000): milliseconds,
 *         batch (500): entries and batchBytes (1 MB) of a call,
 *         directAfter (5 minutes): milliseconds without the node until the clinic's own address is offered}
 * @returns {Promise<Status>} when the store is open; never waits for the network.
 */
export function start(given = {}) {
  starting ??= begin(given).catch((error) => {
    starting = null;
    throw error;
  });
  return starting;
}

async function begin(given) {
  options = { ...DEFAULTS, ...given };
  pace = new Pace(options);
  const held = await store();
  const kept = await Promise.all(["token", "alarm", "lastSent", "removed"].map((key) => held.meta(key)));
  const [token, alarm = null, lastSent = null, removed = null] = kept;
  // One that was removed does not pair itself again: somebody has to want it.
  Object.assign(state, { started: true, paired: Boolean(token), alarm, lastSent, removed, needsCode: Boolean(removed) });
  turns = new Turns(round, ended, { ...options, name: options.database });
  listenToOtherTabs();
  await (await direct()).begin();
  await recount();
  askToBeKept();
  for (const event of ["online", "pageshow"]) addEventListener(event, kick);
  addEventListener("visibilitychange", () => { if (!globalThis.document.hidden) kick(); });
  kick();
  return status();
}

/** @returns {Promise<?{device: string, letter: string, name: string}>} null while not paired. */
export async function device() {
  const held = await store();
  const [device, letter, name] = await Promise.all(["device", "letter", "name"].map((key) => held.meta(key)));
  return device ? { device, letter, name } : null;
}

/**
 * Pair this tablet (again), by the clinic's one-time `code` where it asks for one. Keeps everything held. Rejects with a
 * ReplicaError that says what to do.
 */
export async function pair(name = options.name, code = null) {
  await start();
  await turns.alone(async () => (await hop()).pair(name, code));
  kick();
}

/** Ask the node under this tablet's token; see `call` of tm_replica_wire. Its no changes nothing of the status. */
export async function ask(path, how = {}) {
  const { base, timeout } = options;
  return call(base, path, { timeout, token: await (await store()).meta("token"), ...how });
}

/** Give up what a removed tablet could not hand in, because a person said so. Everything held here is gone afterwards. */
export async function discard() {
  await turns.alone(async () => (await leaving()).clear({ unsent: true }));
  await recount();
  tell([]);
}

/** Visits let go of here: [{visit, remembered}]; `bringBack` fetches one again. */
export async function gone() {
  return (await store()).gone();
}

/** Bring back a visit that was let go of. Rejects with a ReplicaError when the node cannot be reached. */
export async function bringBack(visit) {
  const row = await (await store()).wantBack(visit);
  kick();
  await (await hop()).fetchVisit(row);
}

/**
 * Keep one new entry. Resolves after it is on this tablet's disk, whatever the network does; id, clock and `seen` are
 * taken in the same transaction. Rejects with a ReplicaError ("envelope", "not_paired", "storage"); nothing is kept then.
 * @param {Draft} draft
 * @returns {Promise<Entry>}
 */
export async function add(draft) {
  return (await addMany([draft]))[0];
}

/** Keep several new entries in one transaction, all or none, in this order. @returns {Promise<Entry[]>} */
export async function addMany(drafts) {
  const plain = drafts.map(cleaned);
  plain.forEach((draft) => check(completed(draft)));
  const held = await store(),
    { causal, documentsOf } = options;
  const made = await kept(() => held.make(plain, { causal, now: Date.now(), paired, check, documentsOf }));
  // A tap waits for nothing but the disk: what is waiting is known without counting it, and the network comes later.
  writes += 1;
  state.pending += made.length;
  tell(made);
  otherTabs?.postMessage({ entries: made });
  turns?.kick(SEND_AFTER_MS);
  return made;
}

/** Every entry of a visit held here, in (clock, id) order. @returns {Promise<Entry[]>} */
export async function entries(visit) {
  return (await store()).entries(visit);
}

/** Every visit held here, the latest touched first, with its entries of the `kinds` named. @returns {Promise<Visit[]>} */
export async function visits(kinds = []) {
  return (await store()).visits(kinds);
}

/**
 * A document: "clinic", or a sequence by its digest (64 hex). Held ones are returned at once; a digest that is not held
 * is fetched, checked against its digest and kept for ever. null when it is not held and cannot be had now.
 */
export async function document(name) {
  const held = await (await store()).document(name);
  if (held?.value) return held.value;
  if (!isDigest(name) || !state.paired) return null;
  try {
    return await (await hop()).fetchDocument(name);
  } catch (error) {
    if (!(error instanceof ReplicaError)) throw error;
    await (await store()).wantDocuments([name]);
    changed({ lastError: error.message });
    return null;
  }
}

/**
 * Keep an attachment of at most 2 MB, a Blob or a buffer; name it in an entry of kind "attachment" afterwards. It is sent
 * after the entries. Rejects with a ReplicaError ("blob", "storage").
 * @returns {Promise<{sha256: string, type: string, bytes: number}>} when it is on this tablet's disk
 */
export async function putBlob(data, type) {
  const held = await files();
  const about = await kept(() => held.put(data, type));
  await recount();
  tell([]);
  kick();
  return about;
}

/**
 * An attachment by its SHA-256: from here, else from the node, checked and kept.
 * @returns {Promise<{sha256: string, type: string, bytes: number, data: ArrayBuffer}>}
 */
export async function getBlob(sha256) {
  return (await files()).get(sha256, async (path, how) => (await hop()).call(path, how));
}

/**
 * Hand in at the clinic's own address (`status().directTo`) until the node answers again: all that was written here, also
 * what the node had taken. Resolves when it is there; rejects with a ReplicaError, and goes on trying.
 */
export async function sendDirectly() {
  await start();
  try {
    await turns.alone(async () => (await direct()).turnOn());
  } finally {
    await recount();
    tell([]);
    kick();
  }
}

/**
 * Hear of every entry that becomes known (made here, in another tab, or fetched) and of every change of the status
 * (then with an empty list). @param {function(Entry[], Status): void} heard  @returns {function(): void} the way to stop
 */
export function subscribe(heard) {
  subscribers.add(heard);
  return () => subscribers.delete(heard);
}

/** @returns {Status} a copy */
export function status() {
  return { ...state };
}

/**
 * Entries the node turned away, with its words.
 * @returns {Promise<{entry: Entry, field: string, why: string, do: string, at: string}[]>}
 */
export async function refused() {
  return (await store()).refused();
}

/** Take the alarm back, once somebody was told: what the node lost was offered to it again as soon as it was noticed. */
export async function dismissAlarm() {
  await (await store()).setMeta({ alarm: null });
  changed({ alarm: null });
}

/** Everything held here as one JSON value; its shape is in tm_replica_file. */
export async function everything() {
  const about = { device: await device(), at: new Date().toISOString() };
  return JSON.parse(await (await fileOf(await store(), await files(), about)).text());
}

/** Offer everything held here as a file to save, for `threemark import`. @returns {Promise<string>} the file's name */
export async function saveToFile() {
  const about = { device: await device(), at: new Date().toISOString() };
  const minute = about.at.slice(0, 16).replace(/[-:T]/g, "");
  const name = `${options.database}-${about.device?.letter ?? "unpaired"}-${minute}.json`;
  const link = globalThis.document.createElement("a");
  link.href = URL.createObjectURL(await fileOf(await store(), await files(), about));
  link.download = name;
  link.click();
  // The browser reads the file after this turn; freeing it at once would save an empty one.
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  return name;
}

let freshId = [-1, 0];

/** A fresh UUIDv7, for a new visit. */
export function uuid7() {
  freshId = idAfter(freshId, Date.now());
  return idText(freshId);
}

/** Try to send and fetch now. */
export function kick() {
  turns?.kick();
}

async function round() {
  const way = await hop();
  if (!(await (await store()).meta("token"))) await pairAlone(way);
  await (await direct()).round();
  try {
    await way.round();
  } catch (error) {
    if (isRemoval(error)) await (await leaving()).handIn(way);
    throw error;
  }
}

/** A node that wants a code is not asked again without one. */
async function pairAlone(way) {
  if (state.needsCode) throw new ReplicaError("not_paired", NOT_PAIRED);
  try {
    await way.pair(options.name, null);
  } catch (error) {
    if (NEEDS_CODE.includes(error.status)) changed({ needsCode: true });
    throw error;
  }
}

async function ended(error) {
  if (error === null) changed({ online: true, lastError: null });
  else failed(error);
  await foundAway(error).catch(failed);
  await recount().catch(failed);
  tell([]);
}

function failed(error) {
  // Any other error is a fault of ours: shown, and tried again, for what is held must reach the node all the same.
  if (!(error instanceof ReplicaError)) console.error(error);
  changed({ online: error instanceof ReplicaError ? error.code !== "unreachable" : state.online, lastError: error.message });
}

/** A node that cannot keep anything is as good as away. */
async function foundAway(error) {
  const way = await direct();
  if (error === null) await way.answered();
  else if (error.code === "unreachable" || error.status >= 500) await way.missed(Date.now());
}

async function hop() {
  return new Hop(await store(), await files(), options, { pace, heard: heardFromNode, changed });
}

async function leaving() {
  return new Leave(await store(), await files(), changed);
}

async function direct() {
  return new Direct(await store(), await files(), options, { pace, changed });
}

function heardFromNode(list) {
  tell(list);
  otherTabs?.postMessage({ entries: list });
}

/** What the hop found out; the other tabs are told, for only one tab talks to the node. */
function changed({ document: name, again: onceMore, ...values }) {
  if (onceMore) kick();
  if (name) values.documents = state.documents + 1;
  if (values.lastSent) store().then((held) => held.setMeta({ lastSent: values.lastSent })).catch(failed);
  if (Object.entries(values).every(([key, value]) => state[key] === value)) return;
  Object.assign(state, values);
  otherTabs?.postMessage({ values });
  tell([]);
}

function listenToOtherTabs() {
  if (!("BroadcastChannel" in globalThis)) return;
  otherTabs = new BroadcastChannel(options.database);
  otherTabs.onmessage = async ({ data }) => {
    Object.assign(state, data.values);
    await recount();
    tell(data.entries ?? []);
    if (data.entries) kick();
  };
}

function tell(list) {
  for (const heard of subscribers) {
    try {
      heard(list, status());
    } catch (error) {
      // One listener's fault must not keep the others from hearing.
      console.error(error);
    }
  }
}

/** Counted again where something was written meanwhile: those are in `state` already. */
async function recount() {
  const before = writes;
  const [counts, attachments] = [await (await store()).counts(), await (await files()).waiting()];
  if (writes !== before) return recount();
  return Object.assign(state, counts, { pending: counts.pending + attachments });
}

function askToBeKept() {
  const storage = navigator.storage;
  if (!storage?.persist) return changed({ persisted: false });
  return storage.persist().then((persisted) => changed({ persisted }), () => changed({ persisted: false }));
}

function store() {
  opening ??= openStore(options.database, () => { opening = null; }).catch((error) => {
    opening = null;
    throw notKept(error);
  });
  return opening;
}

function files() {
  openingFiles ??= openBlobs(options.database, () => { openingFiles = null; }).catch((error) => {
    openingFiles = null;
    throw notKept(error);
  });
  return openingFiles;
}

async function kept(write) {
  try {
    return await write();
  } catch (error) {
    throw error instanceof ReplicaError ? error : notKept(error);
  }
}

function notKept(error) {
  const full = error?.name === "QuotaExceededError";
  return new ReplicaError("storage", full ? FULL : { ...NOT_KEPT, why: `${NOT_KEPT.why} (${error?.message ?? error})` });
}

function paired(device) {
  if (!device) throw new ReplicaError("not_paired", NOT_PAIRED);
}

function check(entry) {
  const wrong = checkEnvelope(entry);
  if (wrong) throw new ReplicaError("envelope", wrong);
}

/** A copy of its own, free of what a page's reactive wrapping adds, with its texts in normal form. */
function cleaned(draft) {
  return nfc(Object.fromEntries(Object.entries(draft).filter(([, value]) => value !== undefined)));
}

/** A draft as it would look, to be checked before the transaction is begun. */
function completed(draft) {
  const id = "00000000-0000-7000-8000-000000000000",
    whole = { v: 1, id, item: null, value: null, of: null, seen: [], at: "2026-01-01T00:00:00Z", clock: [0, 0] };
  return { ...whole, device: id, ...draft };
}

const NEEDS_CODE = [401, 403, 422];
const NOT_PAIRED = {
  why: "This tablet is not paired with a clinic yet.",
  do: "Connect it to the clinic's computer once, then try again.",
};
const FULL = { why: "This tablet has no room left.", do: "Free some space on it, then enter the answer again." };
const NOT_KEPT = { why: "This tablet could not keep the answer", do: "Load the page again; if it stays, save to a file." };
