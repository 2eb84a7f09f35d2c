// Past the node: when that has been away for long, everything written on this tablet can be handed in at the clinic's own
// address. What the node had acknowledged goes again too, for nobody knows whether it handed it on before it went.

import { ReplicaError } from "tm_replica_error";
import { Sender, sinceThen } from "tm_replica_send";
import { call } from "tm_replica_wire";

const LOOPBACK = ["127.0.0.1", "localhost", "[::1]"];
const FRESH = { on: false, away: null, address: null, after: null, head: null, sent: null };

/**
 * `changed` hears {awaySince, directTo, directOn, directSent, directError}: since when the node is away (RFC 3339 or
 * null), where else this tablet can hand in now (null: nowhere, or not yet), whether it does, when it last did, and why
 * it could not. Kept in the replica, so that it holds over a reload.
 */
export class Direct {
  constructor(store, files, options, { pace, changed }) {
    Object.assign(this, { store, files, options, pace, changed });
  }

  /** What was so when the page was left. */
  async begin() {
    this.#tell(await this.#kept(), await this.address());
  }

  /** The node answered: from now on it is handed everything again. */
  async answered() {
    const kept = await this.#kept();
    if (kept.away !== null || kept.on) await this.#keep({ on: false, away: null });
    this.changed({ directError: null });
  }

  /** The node did not answer, or cannot keep anything. After `directAfter` ms of that the other way is offered. */
  async missed(now) {
    await this.#keep({ away: (await this.#kept()).away ?? now }, now);
  }

  /** Hand in at the clinic's own address from now on, until the node answers again. */
  async turnOn() {
    if (!(await this.address())) throw new ReplicaError("unreachable", NOWHERE);
    await this.#keep({ on: true });
    await this.#deliver();
  }

  /** Hand in if it was turned on. That the clinic cannot be reached either is told and stops nobody. */
  async round() {
    if (!(await this.#kept()).on) return;
    try {
      await this.#deliver();
    } catch (error) {
      if (!(error instanceof ReplicaError)) throw error;
    }
  }

  /** Where the clinic itself answers; null when nobody said, or when this page came from there. */
  async address() {
    const given = (await this.store.document("clinic"))?.value?.address;
    if (!given) return null;
    const own = new URL(this.options.base || location.origin, location.href);
    return sameOrigin(new URL(given), own) ? null : given;
  }

  async #deliver() {
    const address = await this.address();
    try {
      await this.#handIn(address);
      this.changed({ directError: null });
    } catch (error) {
      this.changed({ directError: error.message });
      throw error;
    }
  }

  async #handIn(address) {
    const kept = await this.#kept();
    if (kept.address !== address) await this.#keep({ address, after: null, head: null });
    const ask = async (path, how) => call(address, path, { timeout: this.options.timeout, ...(await this.#token(how)) });
    let again;
    do {
      again = false;
      const headed = async (answer) => { again = (await this.#headed(answer)) || again; };
      const known = async () => (await this.#kept()).head;
      const sender = new Sender(this.store, ask, this.pace, { known, headed, changed: this.changed });
      const devices = Object.keys((await this.store.meta("tokens")) ?? {});
      const next = (after) => this.store.writtenAfter(after, this.pace.most, devices);
      const done = (after) => (again ? undefined : this.#keep({ after }));
      await sender.sendAll(next, done, (await this.#kept()).after);
    } while (again);
    await this.files.push(address, ask);
    await this.#keep({ sent: Date.now() });
  }

  async #token(how = {}) {
    return { ...how, token: how.token === undefined ? await this.store.meta("token") : how.token };
  }

  /** True when everything has to be offered from the beginning. */
  async #headed(answer) {
    const since = sinceThen((await this.#kept()).head, answer);
    await this.#keep({ head: answer.head, ...(since ? { after: null } : {}) });
    if (since) await this.files.offerAgain((await this.#kept()).address);
    return since !== null;
  }

  async #kept() {
    return { ...FRESH, ...(await this.store.meta("direct")) };
  }

  async #keep(values, now = Date.now()) {
    const direct = { ...(await this.#kept()), ...values };
    await this.store.setMeta({ direct });
    this.#tell(direct, await this.address(), now);
  }

  #tell({ on, away, sent }, address, now = Date.now()) {
    const long = away !== null && now - away >= this.options.directAfter;
    this.changed({
      awaySince: away === null ? null : new Date(away).toISOString(), directOn: on,
      directTo: on || long ? address : null, directSent: sent === null ? null : new Date(sent).toISOString(),
    });
  }
}

function sameOrigin(one, other) {
  const here = [one, other].every(({ hostname }) => LOOPBACK.includes(hostname));
  return one.origin === other.origin || (here && one.protocol === other.protocol && one.port === other.port);
}

const NOWHERE = {
  why: "This tablet does not know another address of the clinic.",
  do: "Save the entries to a file and take that to the clinic.",
};
