// Handing entries in: in batches of so many bytes, each under the token of the device that wrote it, and what the answer
// says of every one of them kept.

import { refusedBy } from "tm_replica_wire";

const SPLIT_STATUS = [413, 422];

/** How much goes into one batch: less after one that did not get through in time, slowly more again. */
export class Pace {
  constructor({ batch, batchBytes }) {
    Object.assign(this, { batch, batchBytes, share: 1 });
  }

  get most() {
    return { entries: Math.max(1, Math.floor(this.batch * this.share)), bytes: this.batchBytes * this.share };
  }

  went() {
    this.share = Math.min(1, this.share * 2);
  }

  late() {
    this.share = Math.max(1 / this.batch, this.share / 4);
  }
}

/**
 * `ask(path, how)` calls the node. `known()` gives the head the node last had, `headed(answer)` hears the one it has now,
 * as `head`, and whether it still `holds` the other. `changed` as of the status.
 */
export class Sender {
  constructor(store, ask, pace, { known, headed, changed }) {
    Object.assign(this, { store, ask, pace, known, headed, changed });
  }

  /**
   * Send everything that `next(after)` gives, a batch after the other, until it gives an empty one; `done(after)` is
   * awaited after each. A batch or an entry that the node does not take never holds up those behind it.
   */
  async sendAll(next, done, after = null) {
    let left = 0;
    for (;;) {
      const batch = await next(after);
      if (!batch.length) break;
      after = batch.at(-1).id;
      for (const own of byDevice(batch)) left += await this.#send(own);
      if (!left) await done(after);
    }
    if (left) throw refusedBy("The node did not say that it keeps everything it was sent.", "It is sent again.");
  }

  /** Returns how many entries the node said nothing about. */
  async #send(batch) {
    let answer;
    try {
      answer = await this.#post(batch);
    } catch (error) {
      if (error.late) this.pace.late();
      if (!SPLIT_STATUS.includes(error.status)) throw error;
      return this.#sendLess(batch, error);
    }
    this.pace.went();
    const { stored = [], settled = [], refused = [] } = answer;
    // The head first: closed in between, this tablet would know of the acknowledgement and not of the store that gave it,
    // and would not notice when that store is put back to an earlier state.
    await this.headed(answer);
    await this.store.settle({ stored, settled, refused: refused.map(turnedAway), now: Date.now() });
    if (stored.length) this.changed({ lastSent: new Date().toISOString() });
    const named = new Set([...stored, ...settled, ...refused.map((row) => row.id)]);
    return batch.filter((entry) => !named.has(entry.id)).length;
  }

  /** Entries of one device, under its own token; one the node no longer knows leaves them to the present one. */
  async #post(entries) {
    const known = await this.known();
    const ids = new Set(entries.map((entry) => entry.id));
    const waiting = (await this.store.waiting()).outbox.filter((id) => !ids.has(id)).length;
    const how = { method: "POST", body: { entries, waiting, ...(known ? { known } : {}) } };
    const [token, tokens] = await Promise.all(["token", "tokens"].map((key) => this.store.meta(key)));
    const own = tokens[entries[0].device] ?? token;
    try {
      return (await this.ask("/sync/entries", { ...how, token: own })).value;
    } catch (error) {
      if (error.status !== 401 || own === token) throw error;
      return (await this.ask("/sync/entries", { ...how, token })).value;
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
}

/**
 * What became of a node's store since it had the head `before`: null, "other" (it is another one) or "lost" (entries it
 * had acknowledged are gone, though others may have come since).
 */
export function sinceThen(before, { head, holds }) {
  if (!before) return null;
  if (before.epoch !== head.epoch) return "other";
  const same = before.position === head.position;
  return holds === false || head.position < before.position || (same && head.hash !== before.hash) ? "lost" : null;
}

function byDevice(entries) {
  const groups = new Map();
  for (const entry of entries) {
    if (!groups.has(entry.device)) groups.set(entry.device, []);
    groups.get(entry.device).push(entry);
  }
  return groups.values();
}

function turnedAway({ id, field = "", why = "", do: advice = "" }) {
  return { id, field, why, do: advice };
}
