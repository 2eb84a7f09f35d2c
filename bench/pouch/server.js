// A PouchDB server on leveldb: node server.js FOLDER MODE, a mode of express-pouchdb. Prints its port. Besides the databases it answers /_received with
// the bytes it was sent and, of the database named, when each document was stored (ms since 1970).
const express = require("express");
const expressPouchDB = require("express-pouchdb");
const PouchDB = require("pouchdb").defaults({ prefix: `${process.argv[2]}/` });

const app = express();
const stored = {};
const sockets = new Set();
let bytes = 0;

app.get("/_received", async (request, response) => {
  const open = [...sockets].reduce((sum, socket) => sum + socket.bytesRead, 0);
  response.json({ bytes: bytes + open, stored });
});
app.get("/_watch/:name", (request, response) => {
  new PouchDB(request.params.name).changes({ live: true, since: 0 }).on("change", ({ id }) => {
    stored[id] ??= performance.timeOrigin + performance.now();
  });
  response.json({});
});
const logPath = `${process.argv[2]}/log.txt`;
app.use("/", expressPouchDB(PouchDB, { mode: process.argv[3], inMemoryConfig: true, logPath }));

const server = app.listen(0, "127.0.0.1", () => console.log(server.address().port));
server.on("connection", (socket) => {
  sockets.add(socket);
  socket.on("close", () => {
    bytes += socket.bytesRead;
    sockets.delete(socket);
  });
});
