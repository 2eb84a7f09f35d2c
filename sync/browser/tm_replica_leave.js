// The clinic removed this tablet: it hands in what it holds, then empties itself. Where nothing is taken from it any more it
// keeps everything until a person says otherwise.

/** Whether a node said that this tablet was removed from the clinic's devices. */
export const isRemoval = (error) => error.status === 403 && error.field === "Authorization";

export class Leave {
  constructor(store, files, changed) {
    Object.assign(this, { store, files, changed });
  }

  /** `way` is the hop to the node. Rejects with the ReplicaError that stopped it; nothing is emptied then. */
  async handIn(way) {
    try {
      await way.push();
      await this.files.push("", (path, how) => way.call(path, how));
    } catch (error) {
      if (isRemoval(error)) this.changed({ removed: "blocked" });
      throw error;
    }
    await this.clear();
  }

  /** Empty this tablet, unless something waits to be sent; with `unsent` also then. */
  async clear({ unsent = false } = {}) {
    if (!unsent && (await this.files.waiting())) return;
    // An entry that came meanwhile is noticed inside the transaction: the next round hands it in first.
    if (!(await this.store.clear("cleared", { unsent }))) return;
    await this.files.clear();
    this.changed({ ...NOTHING, document: "clinic" });
  }
}

const NOTHING = {
  paired: false, unauthorized: false, needsCode: true, removed: "cleared", alarm: null, lastSent: null, lastHeard: null,
};
