// The store and the hop of a browser: immutable entries in IndexedDB, an outbox, push and pull. Knows no item names.
//
// Import it as "tm_replica". Which modules a frozen page needs is found by their import lines; nothing has to be listed.

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
 * `pair` again). `pending`: entries not sent yet. `refused`: entries the node turned away (kept, offered again daily).
 * `online`: whether the last call reached the node, null before the first. `lastSent`, `lastHeard`: RFC 3339 or null.
 * `lastError`: one sentence or null. `alarm`: one sentence when the node lost entries it had acknowledged, or null.
 * `persisted`: whether the browser promised to keep the data, null before it was asked. `moreAtNode`: ids of visits of
 * which the node holds entries that are not here yet. `documents` grows by one whenever a document changed.
 * @typedef {{started: boolean, paired: boolean, unauthorized: boolean, pending: number, refused: number,
 *            online: ?boolean, lastSent: ?string, lastHeard: ?string, lastError: ?string, alarm: ?string,
 *            persisted: ?boolean, moreAtNode: string[], documents: number}} Status
 */

/**
 * What a person is told when something cannot be done: `field` (may be ""), `why`, `do`. `code` is one of
 * "envelope" (the draft cannot be an entry), "not_paired", "storage" (this tablet could not keep it), "unreachable",
 * "refused" (the node said no), "insecure" (the page was not loaded over https or from this machine).
 */
export class ReplicaError extends Error {}

/**
 * Open the store, ask the browser to keep it, and begin to send and fetch. Call once a page, before anything else;
 * calling again changes nothing. Without a token the tablet pairs itself as soon as a node answers.
 *
 * options: {causal: kinds whose ids go into `seen` (["adjustment"]), name: the tablet's name at pairing ("Tablet"),
 *           database ("threemark"), base: where the node is ("", the page's own origin),
 *           wanted(row) -> whether a visit of the node's list is fetched (unfinished ones and those written here),
 *           documentsOf(entry) -> digests of documents this entry needs (value.digest of an "opened" entry),
 *           timeout (8000), retryMin (1000), retryMax (30000), poll (20000): milliseconds, batch (100): entries}
 * @returns {Promise<Status>} when the store is open; never waits for the network.
 */
export async function start(options = {}) {}

/** @returns {Promise<?{device: string, letter: string, name: string, clinic: *}>} null while not paired. */
export async function device() {}

/** Pair this tablet (again). Keeps everything held. Rejects with a ReplicaError that says what to do. */
export async function pair(name) {}

/**
 * Keep one new entry. Resolves after it is on this tablet's disk, whatever the network does; id, clock and `seen` are
 * taken in the same transaction. Rejects with a ReplicaError ("envelope", "not_paired", "storage"); nothing is kept then.
 * @param {Draft} draft
 * @returns {Promise<Entry>}
 */
export async function add(draft) {}

/** Keep several new entries in one transaction, all or none, in this order. @returns {Promise<Entry[]>} */
export async function addMany(drafts) {}

/** Every entry of a visit held here, in (clock, id) order. @returns {Promise<Entry[]>} */
export async function entries(visit) {}

/** Every visit held here, the latest touched first, with its entries of the `kinds` named. @returns {Promise<Visit[]>} */
export async function visits(kinds = []) {}

/**
 * A document: "clinic", or a sequence by its digest (64 hex). Held ones are returned at once; a digest that is not held
 * is fetched, checked against its digest and kept for ever. null when it is not held and cannot be had now.
 */
export async function document(name) {}

/**
 * Hear of every entry that becomes known (made here, in another tab, or fetched) and of every change of the status
 * (then with an empty list). @param {function(Entry[], Status): void} heard  @returns {function(): void} the way to stop
 */
export function subscribe(heard) {}

/** @returns {Status} a copy */
export function status() {}

/** Try to send and fetch now. */
export function kick() {}

/** Entries the node turned away, with its words. @returns {Promise<{entry: Entry, field: string, why: string, do: string, at: string}[]>} */
export async function refused() {}

/** Everything held here as one JSON value: {v, device, at, entries, outbox, refused}. */
export async function everything() {}

/** Offer `everything()` as a file to save. @returns {Promise<string>} the file's name */
export async function saveToFile() {}

/** A fresh UUIDv7, for a new visit. */
export function uuid7() {}

/** The RFC 8785 text of a JSON value. */
export function canonical(value) {}

/** SHA-256 of a text's UTF-8 bytes, 64 hex digits. */
export async function sha256hex(text) {}

/** The digest of a set of entries: SHA-256 over the RFC 8785 text of the list in (clock, id) order; as sync/seal.py. */
export async function digest(list) {}
