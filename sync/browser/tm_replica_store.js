// What a browser keeps: entries, those still to be sent, those the node turned away, visits, documents, and a few values
// of its own. Everything that must hold together is written in one transaction. Knows no network.

import { digest, frontier, idAfter, idText, inOrder, merged, tick } from "tm_entry";

const VERSION = 1;
const DAY_MS = 24 * 3600 * 1000;

/** Open (and create) the database. `lost` is called when the browser takes the connection away. */
export function openStore(name, lost) {
  return new Promise((open, fail) => {
    const request = indexedDB.open(name, VERSION);
    request.onupgradeneeded = () => layOut(request.result);
    request.onerror = () => fail(request.error);
    request.onsuccess = () => {
      const database = request.result;
      // Another tab with a newer page wants to change the layout, or the browser pulled the storage away.
      database.onversionchange = () => { database.close(); lost(); };
      database.onclose = lost;
      open(new Store(database));
    };
  });
}

function layOut(database) {
  const entries = database.createObjectStore("entries", { keyPath: "id" });
  entries.createIndex("visit", "visit");
  entries.createIndex("visit_kind", ["visit", "kind"]);
  database.createObjectStore("outbox", { keyPath: "id" }).createIndex("visit", "visit");
  database.createObjectStore("refused", { keyPath: "id" });
  database.createObjectStore("visits", { keyPath: "visit" });
  database.createObjectStore("documents", { keyPath: "name" });
  database.createObjectStore("meta");
}

class Store {
  constructor(database) {
    this.database = database;
  }

  /**
   * New entries from drafts, all or none: ids, clocks and `seen` are taken where two tabs cannot take the same.
   * `paired(device)` and `check(entry)` throw what must not be kept.
   */
  make(drafts, { causal, now, paired, check, documentsOf }) {
    return this.#write(["entries", "outbox", "visits", "documents", "meta"], async (stores) => {
      const made = [],
        device = await done(stores.meta.get("device"));
      paired(device);
      for (const draft of drafts) {
        const entry = await stamped(draft, stores, { device, causal, now });
        check(entry);
        stores.entries.add(entry);
        stores.outbox.add({ id: entry.id, visit: entry.visit });
        await countIn(stores, entry, true, documentsOf);
        made.push(entry);
      }
      return made;
    });
  }

  /**
   * Take in entries from elsewhere; one that is here already is never overwritten, but an erasure takes its value away.
   * Returns those that are new.
   */
  merge(list, { device, now, documentsOf }) {
    return this.#write(["entries", "visits", "documents", "meta"], async (stores) => {
      const fresh = [];
      let clock = (await done(stores.meta.get("clock"))) ?? [0, 0];
      for (const entry of list) {
        if (await done(stores.entries.getKey(entry.id))) continue;
        stores.entries.add(entry);
        await countIn(stores, entry, entry.device === device, documentsOf);
        if (entry.kind === "erasure") await erase(stores.entries, entry);
        clock = merged(clock, entry.clock, now);
        fresh.push(entry);
      }
      stores.meta.put(clock, "clock");
      return fresh;
    });
  }

  async entries(visit) {
    return inOrder(await this.#read("entries", (entries) => entries.index("visit").getAll(visit)));
  }

  /** Visits, the latest touched first, with their entries of the kinds named and how many wait to be sent. */
  visits(kinds) {
    return this.#reading(["visits", "entries", "outbox"], async (stores) => {
      const rows = await done(stores.visits.getAll());
      const held = rows.filter((row) => row.entries);
      return Promise.all(held.sort((a, b) => (a.last < b.last ? 1 : -1)).map((row) => described(row, kinds, stores)));
    });
  }

  counts() {
    return this.#reading(["outbox", "refused", "visits"], async ({ outbox, refused, visits }) => {
      const [pending, turnedAway, rows] = await Promise.all([outbox.count(), refused.count(), visits.getAll()].map(done));
      const moreAtNode = rows.filter((row) => row.wanted && !row.complete).map((row) => row.visit);
      return { pending, refused: turnedAway, moreAtNode };
    });
  }

  /**
   * The next entries to send after `after` (an id), oldest first, at `most` so many {entries, bytes} and at least one;
   * refused ones come again when their day is up.
   */
  toSend(after, most, now) {
    return this.#reading(["outbox", "refused", "entries"], async ({ outbox, refused, entries }) => {
      const waiting = await done(outbox.getAllKeys(behind(after), most.entries));
      const due = [];
      await walk(refused, behind(after), (row) => {
        if (row.again <= now) due.push(row.id);
        return due.length < most.entries;
      });
      const batch = new Batch(most);
      for (const id of [...new Set([...waiting, ...due])].sort()) {
        if (!batch.take(await done(entries.get(id)))) break;
      }
      return batch.entries;
    });
  }

  /** The next entries after `after`, by id, at `most` so many; only those written by one of `devices`, null for all. */
  writtenAfter(after, most, devices) {
    return this.#reading(["entries"], async ({ entries }) => {
      const batch = new Batch(most);
      await walk(entries, behind(after), (entry) => (devices && !devices.includes(entry.device)) || batch.take(entry));
      return batch.entries;
    });
  }

  /** What the node answered: what it has is no longer to be sent, what it turned away is kept apart and offered daily. */
  settle({ stored, settled, refused, now }) {
    return this.#write(["outbox", "refused"], async (stores) => {
      for (const id of [...stored, ...settled]) {
        stores.outbox.delete(id);
        stores.refused.delete(id);
      }
      for (const row of refused) {
        stores.outbox.delete(row.id);
        stores.refused.put({ ...row, at: new Date(now).toISOString(), again: now + DAY_MS });
      }
    });
  }

  refused() {
    return this.#reading(["refused", "entries"], async ({ refused, entries }) => {
      const rows = await done(refused.getAll());
      const found = await Promise.all(rows.map((row) => done(entries.get(row.id))));
      return rows.map(({ field, why, do: advice, at }, n) => ({ entry: found[n], field, why, do: advice, at }));
    });
  }

  /** Put everything written by this tablet back among what is to be sent, and forget where the node's feed stood. */
  offerAgain(devices) {
    return this.#write(["entries", "outbox", "refused", "visits", "meta"], async (stores) => {
      await walk(stores.entries, null, ({ id, visit, device }) => {
        if (devices.includes(device)) stores.outbox.put({ id, visit });
      });
      stores.refused.clear();
      await walk(stores.visits, null, (row) => { stores.visits.put({ ...row, node: null, cursor: null }); });
      stores.meta.delete("cursor");
    });
  }

  /** What the node says of a visit, and whether it has to be fetched. One let go of stays so until it goes on. */
  async heard(row, wanted) {
    const held = await this.entries(row.visit);
    const unsent = new Set(await this.#read("outbox", (outbox) => outbox.index("visit").getAllKeys(row.visit)));
    const complete = (await digest(held.filter((entry) => !unsent.has(entry.id)))) === row.digest;
    return this.#write(["visits"], async ({ visits }) => {
      const known = (await done(visits.get(row.visit))) ?? blank(row.visit);
      const still = known.gone && row.digest === known.node?.digest;
      const scope = !still && wanted({ ...row, mine: known.mine && !known.gone });
      visits.put({ ...known, node: row, complete, wanted: scope, gone: known.gone && !scope });
      return scope && !complete;
    });
  }

  /** Visits whose entries at the node are not all here. */
  async incomplete() {
    const rows = await this.#read("visits", (visits) => visits.getAll());
    return rows.filter((row) => row.wanted && !row.complete);
  }

  /** Ids of visits that are whole, all sent, and whose last entry was made before `limit` (RFC 3339). */
  async untouchedSince(limit) {
    const rows = await this.#read("visits", (visits) => visits.getAll());
    const unsent = new Set(await this.#unsent());
    return rows
      .filter((row) => row.entries && row.complete && row.last < limit && !unsent.has(row.visit))
      .map((row) => row.visit);
  }

  /**
   * Let go of a visit of `count` entries: all of it, or nothing when an entry came meanwhile or one is not sent. `node` is
   * what the node says of it, `remembered` what is kept of it to find it by. Returns whether it is gone.
   */
  forget(visit, { node, count, remembered }) {
    return this.#write(["entries", "outbox", "refused", "visits"], async ({ entries, outbox, refused, visits }) => {
      const ids = await done(entries.index("visit").getAllKeys(visit));
      const turnedAway = new Set(await done(refused.getAllKeys()));
      const waiting = await done(outbox.index("visit").count(visit));
      if (waiting || ids.length !== count || ids.some((id) => turnedAway.has(id))) return false;
      const { mine } = await done(visits.get(visit));
      for (const id of ids) entries.delete(id);
      visits.put({ ...blank(visit), mine, node, gone: true, remembered });
      return true;
    });
  }

  /** Visits let go of: [{visit, remembered}]. */
  async gone() {
    const rows = await this.#read("visits", (visits) => visits.getAll());
    return rows.filter((row) => row.gone).map(({ visit, remembered }) => ({ visit, remembered }));
  }

  /** The visit's own line, wanted back from now on. */
  async wantBack(visit) {
    await this.mark(visit, { wanted: true, complete: false, gone: false, cursor: null });
    return this.#read("visits", (visits) => visits.get(visit));
  }

  /**
   * Empty all of it, unless an entry waits to be sent; with `unsent` also then. `removed` says afterwards that this was
   * done. Returns whether it is empty.
   */
  clear(removed, { unsent = false } = {}) {
    const names = [...this.database.objectStoreNames];
    return this.#write(names, async (stores) => {
      if (!unsent && (await done(stores.outbox.count()))) return false;
      for (const name of names) stores[name].clear();
      stores.meta.put(removed, "removed");
      return true;
    });
  }

  async #unsent() {
    return this.#reading(["outbox", "refused", "entries"], async ({ outbox, refused, entries }) => {
      const rows = await Promise.all((await done(refused.getAllKeys())).map((id) => done(entries.get(id))));
      return [...(await done(outbox.getAll())), ...rows].map(({ visit }) => visit);
    });
  }

  mark(visit, change) {
    return this.#write(["visits"], async ({ visits }) => {
      visits.put({ ...((await done(visits.get(visit))) ?? blank(visit)), ...change });
    });
  }

  async meta(key) {
    return this.#read("meta", (meta) => meta.get(key));
  }

  setMeta(values) {
    return this.#write(["meta"], async ({ meta }) => {
      for (const [key, value] of Object.entries(values)) meta.put(value, key);
    });
  }

  async document(name) {
    return this.#read("documents", (documents) => documents.get(name));
  }

  keepDocument(row) {
    return this.#write(["documents"], async ({ documents }) => { documents.put(row); });
  }

  /** Names of documents that are needed and not here. */
  async missingDocuments() {
    const rows = await this.#read("documents", (documents) => documents.getAll());
    return rows.filter((row) => row.value === null).map((row) => row.name);
  }

  wantDocuments(names) {
    return this.#write(["documents"], (stores) => wantDocuments(stores, names));
  }

  /** Ids of what is not sent yet, and what the node turned away. */
  waiting() {
    return this.#reading(["outbox", "refused"], async ({ outbox, refused }) => {
      const [ids, rows] = await Promise.all([outbox.getAllKeys(), refused.getAll()].map(done));
      return { outbox: ids, refused: rows.map(({ again, ...row }) => row) };
    });
  }

  async #read(name, ask) {
    return done(ask(this.database.transaction(name).objectStore(name)));
  }

  #reading(names, work) {
    return work(opened(this.database.transaction(names), names));
  }

  /** Resolves when the browser says that it is on disk. A failure anywhere leaves nothing of it. */
  async #write(names, work) {
    const transaction = this.database.transaction(names, "readwrite", { durability: "strict" });
    const written = new Promise((ok, fail) => {
      transaction.oncomplete = ok;
      transaction.onabort = () => fail(transaction.error ?? new DOMException("The write was given up.", "AbortError"));
    });
    written.catch(() => undefined);
    let result;
    try {
      result = await work(opened(transaction, names));
    } catch (error) {
      giveUp(transaction);
      await written.catch(() => undefined);
      throw transaction.error ?? error;
    }
    await written;
    return result;
  }
}

/** Entries until there are `most` {entries, bytes} of them; one alone is never too many. */
class Batch {
  constructor(most) {
    Object.assign(this, { most, entries: [], bytes: 0 });
  }

  /** Returns false when no more go in; the entry is then left out. */
  take(entry) {
    this.bytes += new TextEncoder().encode(JSON.stringify(entry)).length + 1;
    if (this.entries.length && (this.entries.length >= this.most.entries || this.bytes > this.most.bytes)) return false;
    this.entries.push(entry);
    return true;
  }
}

function behind(key) {
  return key ? IDBKeyRange.lowerBound(key, true) : null;
}

/** Give row after row of a store to `seen`, in the order of the keys, until it returns false. */
function walk(store, range, seen) {
  return new Promise((ok, fail) => {
    const request = store.openCursor(range);
    request.onerror = () => fail(request.error);
    request.onsuccess = () => {
      const cursor = request.result;
      if (!cursor || seen(cursor.value) === false) ok();
      else cursor.continue();
    };
  });
}

/** As at the node: the digest takes the place of the value. The node has checked that the erasure means this value. */
async function erase(entries, { of, visit, value }) {
  const named = of && (await done(entries.get(of)));
  if (!named || named.visit !== visit || named.kind === "erasure" || typeof value?.sha256 !== "string") return;
  entries.put({ ...named, value: { erased: value.sha256 } });
}

async function stamped(draft, { entries, meta }, { device, causal, now }) {
  const [ids, clock] = await Promise.all([meta.get("ids"), meta.get("clock")].map(done));
  const id = idAfter(ids ?? [-1, 0], now);
  const stamp = tick(clock ?? [0, 0], now);
  meta.put(id, "ids");
  meta.put(stamp, "clock");
  const causes = await Promise.all(
    causal.map((kind) => done(entries.index("visit_kind").getAll([draft.visit, kind]))),
  );
  return {
    v: 1, id: idText(id), visit: draft.visit, kind: draft.kind, item: draft.item ?? null, value: draft.value ?? null,
    of: draft.of ?? null, seen: frontier(causes.flat()), at: new Date(now).toISOString(), clock: stamp, device,
    author: draft.author,
  };
}

/** Keep the visit's own line, so that a list of visits never has to read every entry. */
async function countIn(stores, entry, mine, documentsOf) {
  const row = (await done(stores.visits.get(entry.visit))) ?? blank(entry.visit);
  stores.visits.put({
    ...row,
    entries: row.entries + 1,
    first: row.first && row.first < entry.at ? row.first : entry.at,
    last: row.last > entry.at ? row.last : entry.at,
    mine: row.mine || mine,
  });
  await wantDocuments(stores, documentsOf(entry));
}

async function wantDocuments({ documents }, names) {
  for (const name of names) {
    if (!(await done(documents.getKey(name)))) documents.put({ name, value: null, etag: null });
  }
}

function blank(visit) {
  return { visit, entries: 0, first: "", last: "", mine: false, node: null, cursor: null, complete: true, wanted: false, gone: false };
}

async function described(row, kinds, { entries, outbox }) {
  const pending = await done(outbox.index("visit").count(row.visit));
  const found = await Promise.all(kinds.map((kind) => done(entries.index("visit_kind").getAll([row.visit, kind]))));
  return {
    visit: row.visit, entries: row.entries, first: row.first, last: row.last, pending, mine: row.mine,
    state: row.node?.state ?? null, complete: row.complete || !row.wanted,
    kinds: Object.fromEntries(kinds.map((kind, n) => [kind, inOrder(found[n])])),
  };
}

function opened(transaction, names) {
  return Object.fromEntries(names.map((name) => [name, transaction.objectStore(name)]));
}

function giveUp(transaction) {
  try {
    transaction.abort();
  } catch (error) {
    // It has given up by itself already; the caller gets the reason from the transaction.
    if (error.name !== "InvalidStateError") throw error;
  }
}

function done(request) {
  return new Promise((ok, fail) => {
    request.onsuccess = () => ok(request.result);
    request.onerror = () => fail(request.error);
  });
}
