// Attachments: bytes under the SHA-256 of themselves, in a database of their own beside the entries. They go last, after
// the entries that name them.

import { ReplicaError } from "tm_replica_error";

export const BLOB_MAX = 2 * 1024 * 1024;
const REFUSED_STATUS = [413, 422];
const STORES = ["about", "bytes"];

/** Open (and create) the attachments of the replica `name`. `lost` is called when the browser takes the connection away. */
export function openBlobs(name, lost) {
  return new Promise((open, fail) => {
    const request = indexedDB.open(`${name}-blobs`, 1);
    request.onupgradeneeded = () => {
      // What is known of them stands apart from their bytes: looking through it reads no pictures.
      request.result.createObjectStore("about", { keyPath: "sha256" });
      request.result.createObjectStore("bytes");
    };
    request.onerror = () => fail(request.error);
    request.onsuccess = () => {
      const database = request.result;
      database.onversionchange = () => { database.close(); lost(); };
      database.onclose = lost;
      open(new Blobs(database));
    };
  });
}

/** `about` is {sha256, type, bytes, mine, sent: [places that hold it], refused: {place: why}}. */
class Blobs {
  constructor(database) {
    this.database = database;
  }

  /** Keep what was made here. @returns {Promise<{sha256: string, type: string, bytes: number}>} when it is on disk. */
  async put(given, type) {
    const data = await bufferOf(given);
    if (data.byteLength > BLOB_MAX) throw new ReplicaError("blob", TOO_LARGE);
    return this.#keep(await described(data, type ?? given.type), data, true);
  }

  /** The bytes if they are here, else from the node, checked and kept: {sha256, type, bytes, data}. */
  async get(sha256, ask) {
    const [held, data] = await this.#held(sha256);
    if (held) return { ...named(held), data };
    const { value } = await ask(`/sync/blobs/${sha256}`, { raw: true });
    const about = await described(value, "");
    if (about.sha256 !== sha256) throw new ReplicaError("blob", OTHER_BYTES);
    return { ...(await this.#keep(about, value, false)), data: value };
  }

  /** How many made here no node holds yet. */
  async waiting() {
    return (await this.#mine(({ sent, refused }) => !sent.length && !Object.keys(refused).length)).length;
  }

  /** Names of all made here. */
  names() {
    return this.#mine(() => true);
  }

  /** Send what `place` does not have, one at a time, so that never more than one is in memory. */
  async push(place, ask) {
    for (const sha256 of await this.#mine((row) => !row.sent.includes(place) && !(place in row.refused))) {
      const [, data] = await this.#held(sha256);
      await this.#change([sha256], await sent(sha256, data, place, ask));
    }
  }

  /** `place` lost what it had. */
  async offerAgain(place) {
    await this.#change(await this.names(), ({ sent, refused }) => {
      const { [place]: _, ...others } = refused;
      return { sent: sent.filter((one) => one !== place), refused: others };
    });
  }

  /** Forget these bytes, unless they were made here and no node holds them yet. */
  async drop(names) {
    const held = new Set(await this.#mine(({ sent }) => !sent.length));
    await this.erase(names.filter((one) => !held.has(one)));
  }

  /** Forget these bytes, whatever became of them. */
  async erase(names) {
    if (!names.length) return;
    await this.#write(async (about, bytes) => {
      for (const name of names) {
        about.delete(name);
        bytes.delete(name);
      }
    });
  }

  /** Empty all of it. */
  clear() {
    return this.#write(async (about, bytes) => {
      about.clear();
      bytes.clear();
    });
  }

  async #mine(wanted) {
    const rows = await done(this.database.transaction("about").objectStore("about").getAll());
    return rows.filter((row) => row.mine && wanted(row)).map((row) => row.sha256);
  }

  #held(sha256) {
    const transaction = this.database.transaction(STORES);
    return Promise.all(STORES.map((name) => done(transaction.objectStore(name).get(sha256))));
  }

  async #keep(described, data, mine) {
    await this.#write(async (about, bytes) => {
      const known = (await done(about.get(described.sha256))) ?? { sent: [], refused: {}, mine: false };
      about.put({ ...known, ...described, mine: mine || known.mine });
      bytes.put(data, described.sha256);
    });
    return named(described);
  }

  #change(names, changed) {
    return this.#write(async (about) => {
      for (const name of names) {
        const row = await done(about.get(name));
        about.put({ ...row, ...changed(row) });
      }
    });
  }

  #write(work) {
    return new Promise((ok, fail) => {
      const transaction = this.database.transaction(STORES, "readwrite", { durability: "strict" });
      transaction.oncomplete = () => ok();
      transaction.onabort = () => fail(transaction.error);
      work(...STORES.map((name) => transaction.objectStore(name))).catch((error) => { transaction.abort(); fail(error); });
    });
  }
}

/** What becomes of a row by being sent: one that the place does not take is left aside there and holds up nobody. */
async function sent(sha256, data, place, ask) {
  try {
    await ask(`/sync/blobs/${sha256}`, { method: "PUT", bytes: data });
  } catch (error) {
    if (!REFUSED_STATUS.includes(error.status)) throw error;
    return (row) => ({ refused: { ...row.refused, [place]: error.message } });
  }
  return (row) => ({ sent: [...row.sent, place] });
}

async function described(data, type) {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", data));
  const sha256 = [...digest].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return { sha256, type: type || "application/octet-stream", bytes: data.byteLength };
}

function named({ sha256, type, bytes }) {
  return { sha256, type, bytes };
}

/** A copy of its own: what is sent later must be what was hashed now. */
async function bufferOf(given) {
  if (given instanceof Blob) return given.arrayBuffer();
  const { buffer, byteOffset, byteLength } = ArrayBuffer.isView(given) ? given : new Uint8Array(given);
  return buffer.slice(byteOffset, byteOffset + byteLength);
}

function done(request) {
  return new Promise((ok, fail) => {
    request.onsuccess = () => ok(request.result);
    request.onerror = () => fail(request.error);
  });
}

const TOO_LARGE = { field: "bytes", why: "An attachment may have at most 2 MB.", do: "Take a smaller picture." };
const OTHER_BYTES = {
  field: "sha256", why: "The node sent other bytes than were asked for.", do: "Tell whoever looks after the node.",
};
