// The hop out of a browser: pair, send what waits, fetch what the node has. One round at a time; who calls it decides when.

import { canonical, checkEnvelope, sha256hex } from "tm_entry";
import { ReplicaError } from "tm_replica_error";

const PROTOCOL = "1";
const SPLIT_STATUS = [413, 422];
const DIGEST = /^[0-9a-f]{64}$/;

/** Whether this names a document by its SHA-256. */
export function isDigest(name) {
  return typeof name === "string" && DIGEST.test(name);
}

/** One way to one node. `heard(entries)` is told of entries fetched, `changed(values)` of what the status says. */
export class Hop {
  constructor(store, options, { heard, changed }) {
    Object.assign(this, { store, options, heard, changed });
  }

  /** Everything once: rejects with the ReplicaError that stopped it; what was done before stays done. */
  async round() {
    if (!(await this.store.meta("token"))) await this.pair(this.options.name);
    await this.push();
    await this.pull();
    await this.fetchDocuments();
    this.changed({ lastHeard: new Date().toISOString() });
  }

  async pair(name) {
    const body = { kind: "tablet", name };
    const { value } = await this.#call("/pair", { method: "POST", body, token: null });
    // Paired anew this tablet is another device to the clinic: what it wrote before goes out under the token of then.
    const tokens = { ...(await this.store.meta("tokens")), [value.device]: value.token };
    await this.store.setMeta({ device: value.device, letter: value.letter, token: value.token, name, tokens });
    if (value.clinic) await this.#keepClinic(value.clinic, null);
    this.changed({ paired: true, unauthorized: false });
  }

  /** Send everything that waits. A batch or an entry that the node does not take never holds up those behind it. */
  async push() {
    const began = Date.now();
    let after = null;
    let left = 0;
    for (;;) {
      const batch = await this.store.toSend(after, this.options.batch, began);
      if (!batch.length) break;
      after = batch.at(-1).id;
      for (const own of byDevice(batch)) left += await this.#send(own);
    }
    if (left) throw refusedBy("The node did not say that it keeps everything it was sent.", "It is sent again.");
  }

  /** Returns how many entries the node said nothing about. */
  async #send(batch) {
    let answer;
    try {
      answer = await this.#post(batch);
    } catch (error) {
      if (!SPLIT_STATUS.includes(error.status)) throw error;
      return this.#sendLess(batch, error);
    }
    const { stored = [], settled = [], refused = [] } = answer;
    await this.store.settle({ stored, settled, refused: refused.map(turnedAway), now: Date.now() });
    if (stored.length) this.changed({ lastSent: new Date().toISOString() });
    await this.#compareHeads(answer);
    const named = new Set([...stored, ...settled, ...refused.map((row) => row.id)]);
    return batch.filter((entry) => !named.has(entry.id)).length;
  }

  /** Entries of one device, under its own token; one the node no longer knows leaves them to the present one. */
  async #post(entries) {
    const call = { method: "POST", body: { entries } };
    const [token, tokens] = await Promise.all(["token", "tokens"].map((key) => this.store.meta(key)));
    const own = tokens[entries[0].device] ?? token;
    try {
      return (await this.#call("/sync/entries", { ...call, token: own })).value;
    } catch (error) {
      if (error.status !== 401 || own === token) throw error;
      return (await this.#call("/sync/entries", { ...call, token })).value;
    }
  }

  /** The node took the whole batch for nonsense: find the entry it means and let the others through. */
  async #sendLess(batch, error) {
    if (batch.length === 1) {
      const row = turnedAway({ id: batch[0].id, field: error.field, why: error.why, do: error.do });
      await this.store.settle({ stored: [], settled: [], refused: [row], now: Date.now() });
      return 0;
    }
    const middle = batch.length >> 1;
    return (await this.#send(batch.slice(0, middle))) + (await this.#send(batch.slice(middle)));
  }

  /** A store that is another one, or that stands further back than it once did, is offered everything again. */
  async #compareHeads({ head }) {
    const before = await this.store.meta("head");
    const other = before && before.epoch !== head.epoch;
    const lost = before && !other && fellBack(before, head);
    if (other || lost) {
      await this.store.offerAgain(Object.keys((await this.store.meta("tokens")) ?? {}));
      this.changed({ ...(lost ? { alarm: LOST } : {}), again: true });
    }
    await this.store.setMeta({ head, ...(lost ? { alarm: LOST } : {}) });
  }

  /** Hear which visits were touched, then fetch those in scope of which the node holds more. */
  async pull() {
    for (;;) {
      const after = (await this.store.meta("cursor")) ?? null;
      const { value } = await this.#call(`/sync/visits${query({ after })}`);
      await this.#compareHeads(value);
      for (const row of value.visits) await this.store.heard(row, this.options.wanted);
      await this.store.setMeta({ cursor: value.cursor });
      if (!value.more) break;
    }
    for (const row of await this.store.incomplete()) await this.#fetchVisit(row);
  }

  async #fetchVisit({ visit, cursor, node }) {
    let after = cursor;
    for (;;) {
      const { value } = await this.#call(`/sync/entries${query({ visit, after })}`);
      await this.#takeIn(value.entries);
      after = value.cursor;
      if (!value.more) break;
    }
    // Fewer than the node announced: begin that visit anew next time, unless this was from its beginning already.
    const short = (await this.store.entries(visit)).length < node.entries;
    await this.store.mark(visit, { cursor: short && cursor ? null : after, complete: !short });
  }

  async #takeIn(list) {
    // What a newer page wrote and this one cannot read is left out: its visit stays among those with more at the node.
    const good = list.filter((entry) => checkEnvelope(entry) === null);
    const { documentsOf } = this.options;
    const device = await this.store.meta("device");
    const fresh = await this.store.merge(good, { device, now: Date.now(), documentsOf });
    if (fresh.length) this.heard(fresh);
  }

  /** The clinic document anew if it changed, then every document that is needed and not here. */
  async fetchDocuments() {
    const held = await this.store.document("clinic");
    const answer = await this.#call("/sync/clinic", { etag: held?.etag });
    if (answer.status !== 304) await this.#keepClinic(answer.value, answer.etag);
    for (const name of await this.store.missingDocuments()) await this.fetchDocument(name);
  }

  /** A document by its digest, from the node, checked and kept. */
  async fetchDocument(name) {
    const { value } = await this.#call(`/sync/sequence/${name}`);
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

  /** One call with a time limit that covers the answer's body too. Under the present token unless another is given. */
  async #call(path, { method = "GET", body, etag, token } = {}) {
    const present = await this.store.meta("token");
    const used = token === undefined ? present : token;
    const limit = new AbortController();
    const timer = setTimeout(() => limit.abort(), this.options.timeout);
    try {
      const response = await fetch(this.options.base + path, {
        method, signal: limit.signal, cache: "no-store", credentials: "omit",
        headers: headersOf({ body, etag, token: used }), body: body && JSON.stringify(body),
      });
      if (used && used === present) this.changed({ unauthorized: response.status === 401 });
      return await answerOf(response);
    } catch (error) {
      throw error instanceof ReplicaError ? error : new ReplicaError("unreachable", { why: NO_ANSWER });
    } finally {
      clearTimeout(timer);
    }
  }

}

function headersOf({ body, etag, token }) {
  return {
    "Threemark-Protocol": PROTOCOL,
    ...(token ? { Authorization: `Bearer ${token}` } : {}),
    ...(body ? { "Content-Type": "application/json" } : {}),
    ...(etag ? { "If-None-Match": etag } : {}),
  };
}

async function answerOf(response) {
  const { status } = response;
  if (status === 304) return { status };
  const spoken = response.headers.get("Threemark-Protocol");
  if (spoken && spoken !== PROTOCOL) {
    throw refusedBy(`The node speaks protocol ${spoken}, this page speaks ${PROTOCOL}.`, "Update the older of the two.");
  }
  if (!response.ok) throw await sayingNo(response);
  return { status, value: await response.json(), etag: response.headers.get("ETag") };
}

function byDevice(entries) {
  const groups = new Map();
  for (const entry of entries) groups.set(entry.device, [...(groups.get(entry.device) ?? []), entry]);
  return groups.values();
}

const NO_ANSWER = "No answer from the clinic's computer.";
const LOST = "The node lost entries it had acknowledged. Everything on this tablet is offered to it again: tell the manager.";

function refusedBy(why, advice) {
  return new ReplicaError("refused", { why, do: advice });
}

async function sayingNo(response) {
  const said = await response.json().then((body) => body.error, () => undefined);
  const { field = "", why = `The node answered ${response.status}.`, do: advice = "" } = said ?? {};
  return new ReplicaError("refused", { field, why: sentence(why), do: sentence(advice), status: response.status });
}

function sentence(text) {
  return text && !/[.!?]$/.test(text) ? `${text}.` : text;
}

function turnedAway({ id, field = "", why = "", do: advice = "" }) {
  return { id, field, why, do: advice };
}

function query(parameters) {
  const given = Object.entries(parameters).filter(([, value]) => value !== null && value !== undefined);
  return given.length ? `?${new URLSearchParams(given)}` : "";
}

function fellBack(before, now) {
  return now.position < before.position || (now.position === before.position && now.hash !== before.hash);
}
