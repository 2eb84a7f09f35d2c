// Letting go, in a browser, of visits that are done with: over, old, all sent, and inside the clinic's last verified backup.
// The node is asked about each; only one of which it holds the very same entries, all of them in the backup, goes.

import { digest } from "tm_entry";

const DAY_MS = 24 * 3600 * 1000;

export class Purge {
  constructor(store, files, options) {
    Object.assign(this, { store, files, options });
  }

  /** Once a day is enough. `ask(path)` calls the node. */
  async round(ask, now = Date.now()) {
    const looked = (await this.store.meta("purged")) ?? 0;
    if (now >= looked && now - looked < this.options.purgeEvery) return;
    const days = this.options.keepDays((await this.store.document("clinic"))?.value);
    for (const visit of await this.store.untouchedSince(new Date(now - days * DAY_MS).toISOString())) {
      await this.#letGo(visit, ask);
    }
    await this.store.setMeta({ purged: now });
  }

  async #letGo(visit, ask) {
    const entries = await this.store.entries(visit);
    const { over, remembered, blobsOf } = this.options;
    const { value } = await ask(`/sync/visits/${visit}`);
    if (!value.backed_up || value.digest !== (await digest(entries)) || !over(value.state, entries)) return;
    const gone = await this.store.forget(visit, { node: value, count: entries.length, remembered: remembered(entries) });
    if (gone) await this.files.drop(entries.flatMap(blobsOf));
  }
}
