// The hop out of a browser: pair, send what waits, fetch what the node has. One round at a time; who calls it decides when.

import { canonical, checkEnvelope, sha256hex } from "tm_entry";
import { Purge } from "tm_replica_purge";
import { Sender, sinceThen } from "tm_replica_send";
import { call, query, refusedBy } from "tm_replica_wire";

const DIGEST = /^[0-9a-f]{64}$/;

/** Whether this names a document by its SHA-256. */
export function isDigest(name) {
  return typeof name === "string" && DIGEST.test(name);
}

/**
 * One way to one node. `heard(entries)` is told of entries fetched, `changed(values)` of what the status says; `files`
 * are the attachments, `pace` how much goes into a batch.
 */
export class Hop {
  constructor(store, files, options, { pace, heard, changed }) {
    Object.assign(this, { store, files, options, heard, changed });
    const known = () => this.store.meta("head");
    const headed = (answer) => this.#compareHeads(answer);
    this.sender = new Sender(store, (path, how) => this.call(path, how), pace, { known, headed, changed });
  }

  /** Everything once: rejects with the ReplicaError that stopped it; what was done before stays done. */
  async round() {
    await this.push();
    await this.pull();
    await this.fetchDocuments();
    await this.files.push("", (path, how) => this.call(path, how));
    this.changed({ lastHeard: new Date().toISOString() });
    await new Purge(this.store, this.files, this.options).round((path) => this.call(path));
  }

  /** `code` is the clinic's one-time code; null where a node pairs without one. */
  async pair(name, code) {
    const token = await this.store.meta("token");
    // With the token it has, the clinic knows this tablet again: it then keeps its id and its letter.
    const body = { kind: "tablet", name, ...(code ? { code } : {}), ...(token ? { token } : {}) };
    const { value } = await this.call("/pair", { method: "POST", body, token: null });
    // Where it was removed it is another device from now on: what it wrote before goes out under the token of then.
    const tokens = { ...(await this.store.meta("tokens")), [value.device]: value.token };
    await this.store.setMeta({ device: value.device, letter: value.letter, token: value.token, name, tokens });
    if (value.clinic) await this.#keepClinic(value.clinic, null);
    await this.store.setMeta({ removed: null });
    this.changed({ paired: true, unauthorized: false, needsCode: false, removed: null });
  }

  /** Send everything that waits. */
  async push() {
    const began = Date.now();
    await this.sender.sendAll(
      (after) => this.store.toSend(after, this.sender.pace.most, began),
      () => undefined,
    );
  }

  /** A store that is another one, or that has lost what it once had, is offered everything again; then it returns true. */
  async #compareHeads(answer) {
    const since = sinceThen(await this.store.meta("head"), answer);
    if (since) {
      await this.store.offerAgain(Object.keys((await this.store.meta("tokens")) ?? {}));
      await this.files.offerAgain("");
      this.changed({ ...(since === "lost" ? { alarm: LOST } : {}), again: true });
    }
    await this.store.setMeta({ head: answer.head, ...(since === "lost" ? { alarm: LOST } : {}) });
    return Boolean(since);
  }

  /** Hear which visits were touched, then fetch those in scope of which the node holds more. */
  async pull() {
    for (;;) {
      const [after = null, head] = await Promise.all(["cursor", "head"].map((key) => this.store.meta(key)));
      const known = head ? `${head.epoch}-${head.position}-${head.hash}` : null;
      const { value } = await this.call(`/sync/visits${query({ after, known })}`);
      // Another store's list, or one that lost what it had: from its beginning, not from where this tablet stood.
      if (await this.#compareHeads(value)) continue;
      for (const row of value.visits) await this.store.heard(row, this.options.wanted);
      await this.store.setMeta({ cursor: value.cursor });
      if (!value.more) break;
    }
    for (const row of await this.store.incomplete()) await this.fetchVisit(row);
  }

  /** A visit as `Store.visitRow` knows it. Throws a ReplicaError when the node does not answer. */
  async fetchVisit({ visit, cursor, node }) {
    let after = cursor;
    for (;;) {
      const { value } = await this.call(`/sync/entries${query({ visit, after })}`);
      await this.#takeIn(value.entries);
      after = value.cursor;
      if (!value.more) break;
    }
    // Fewer than the node announced: begin that visit anew next time, unless this was from its beginning already.
    const short = (await this.store.entries(visit)).length < (node?.entries ?? 1);
    await this.store.mark(visit, { cursor: short && cursor ? null : after, complete: !short });
  }

  async #takeIn(list) {
    // What a newer page wrote and this one cannot read is left out: its visit stays among those with more at the node.
    const good = list.filter((entry) => checkEnvelope(entry) === null);
    const { documentsOf } = this.options;
    const device = await this.store.meta("device");
    // First the bytes: cut off between the two, the erasure comes again, and with it the names.
    await this.files.erase(await this.#erasedIn(good));
    const fresh = await this.store.merge(good, { device, now: Date.now(), documentsOf });
    if (fresh.length) this.heard(fresh);
  }

  /** Attachments that these erasures take away, and that no other entry here names. */
  async #erasedIn(list) {
    const erasures = list.filter(({ kind, value }) => kind === "erasure" && isDigest(value?.blob));
    if (!erasures.length) return [];
    const gone = new Set(erasures.map(({ of }) => of));
    const held = (await this.store.visits(["attachment"])).flatMap(({ kinds }) => kinds.attachment);
    const named = new Set(held.filter(({ id }) => !gone.has(id)).flatMap(this.options.blobsOf));
    return erasures.map(({ value }) => value.blob).filter((name) => !named.has(name));
  }

  /** The clinic document anew if it changed, then every document that is needed and not here. */
  async fetchDocuments() {
    const held = await this.store.document("clinic");
    const answer = await this.call("/sync/clinic", { etag: held?.etag });
    if (answer.status !== 304) await this.#keepClinic(answer.value, answer.etag);
    for (const name of await this.store.missingDocuments()) await this.fetchDocument(name);
  }

  /** A document by its digest, from the node, checked and kept. */
  async fetchDocument(name) {
    const { value } = await this.call(`/sync/sequence/${name}`);
    if ((await sha256hex(canonical(value))) !== name) {
      throw refusedBy("The node sent a sequence that is not the one asked for.", "Tell whoever looks after the node.");
    }
    await this.store.keepDocument({ name, value, etag: null });
    this.changed({ document: name });
    return value;
  }

  async #keepClinic(value, etag) {
    const held = await this.store.document("clinic");
    await this.store.keepDocument({ name: "clinic", value, etag });
    await this.store.wantDocuments(this.options.documentsOfClinic(value));
    if (!held || canonical(held.value) !== canonical(value)) this.changed({ document: "clinic" });
  }

  /** Ask the node, under the present token unless another is given. */
  async call(path, how = {}) {
    const { base, timeout } = this.options;
    const present = await this.store.meta("token");
    const token = how.token === undefined ? present : how.token;
    const told = (unauthorized) => { if (token && token === present) this.changed({ unauthorized }); };
    try {
      const answer = await call(base, path, { timeout, ...how, token });
      told(false);
      return answer;
    } catch (error) {
      if (error.status) told(error.status === 401);
      throw error;
    }
  }
}

const LOST = "The node lost entries it had acknowledged. Everything on this tablet is offered to it again: tell the manager.";
