// When the hop is tried: at once when asked, after a pause when all is well, after a growing one when it failed; and
// never in two tabs at the same time.

const LOOK_AGAIN_MS = 2000;

export class Turns {
  /**
   * `round()` is one try; `ended(error or null)` hears how it went. `pace` is {name, retryMin, retryMax, poll}: what the
   * tabs share, and milliseconds.
   */
  constructor(round, ended, pace) {
    Object.assign(this, { round, ended, pace, wait: 0, timer: null, dueAt: Infinity, running: false, again: false });
  }

  /** Try now, or `after` milliseconds from now; when a try is going on already, once more after it. */
  kick(after = 0) {
    this.wait = 0;
    if (this.running) this.again = true;
    else this.#plan(after);
  }

  /** Run `work` while no other tab talks to the node; with `ifAvailable` resolve to false at once when one does. */
  alone(work, how = {}) {
    if (!navigator.locks) return work();
    return navigator.locks.request(`${this.pace.name}-hop`, how, (lock) => (lock ? work() : false));
  }

  #plan(delay) {
    if (Date.now() + delay >= this.dueAt) return;
    clearTimeout(this.timer);
    this.dueAt = Date.now() + delay;
    this.timer = setTimeout(() => this.#turn(), delay);
  }

  async #turn() {
    Object.assign(this, { dueAt: Infinity, running: true, again: false });
    const pause = await this.#try();
    this.running = false;
    // Many tablets that lost the same node must not all come back at the same moment.
    this.#plan(this.again ? 0 : pause * (0.8 + 0.4 * Math.random()));
  }

  /** Returns how long to wait before the next try. */
  async #try() {
    const { retryMin, retryMax, poll } = this.pace;
    try {
      const mine = await this.alone(async () => (await this.round(), true), { ifAvailable: true });
      if (!mine) return LOOK_AGAIN_MS;
      this.wait = 0;
      await this.ended(null);
      return poll;
    } catch (error) {
      this.wait = Math.min(retryMax, Math.max(retryMin, this.wait * 2));
      await this.ended(error);
      return this.wait;
    }
  }
}
