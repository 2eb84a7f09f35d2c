// A PouchDB on leveldb that replicates to a server: node client.js FOLDER SERVER. Takes one JSON command a line and answers
// each with a line of JSON.
const fs = require("fs");
const readline = require("readline");
const PouchDB = require("pouchdb").defaults({ prefix: `${process.argv[2]}/` });

const server = process.argv[3];
const commands = {
  /** Put the documents of a JSON file into a database. */
  async load({ name, file }) {
    const results = await new PouchDB(name).bulkDocs(JSON.parse(fs.readFileSync(file)));
    if (results.some((result) => result.error)) throw new Error("a document was not stored");
  },
  /** Replicate a database to a new one at the server. Seconds, from the call to the last document acknowledged. */
  async replicate({ name, batch }) {
    const began = performance.now();
    const result = await new PouchDB(name).replicate.to(`${server}/${name}-${batch}`, { batch_size: batch });
    return { seconds: (performance.now() - began) / 1000, written: result.docs_written };
  },
  /** Put documents one at a time under live replication, each when the one before has arrived. When each was put. */
  async live({ name, file }) {
    const db = new PouchDB(name);
    const put = {};
    await fetch(`${server}/_watch/${name}`);
    const running = db.replicate.to(`${server}/${name}`, { live: true });
    await new Promise((paused) => running.once("paused", paused));
    for (const document of JSON.parse(fs.readFileSync(file))) {
      // Each from rest: replication is paused again when it has nothing left to do.
      const atRest = new Promise((done) => running.once("change", () => running.once("paused", done)));
      put[document._id] = performance.timeOrigin + performance.now();
      await db.put(document);
      await atRest;
    }
    running.cancel();
    let stored = {};
    while (Object.keys(put).some((id) => !(id in stored))) {
      ({ stored } = await (await fetch(`${server}/_received`)).json());
    }
    return { ms: Object.keys(put).map((id) => stored[id] - put[id]) };
  },
};

readline.createInterface({ input: process.stdin }).on("line", async (line) => {
  const { do: name, ...how } = JSON.parse(line);
  try {
    console.log(JSON.stringify((await commands[name](how)) ?? {}));
  } catch (error) {
    console.log(JSON.stringify({ error: String(error.stack ?? error) }));
  }
});
