// Everything of a replica as one file to carry away, for `threemark import`. Made a page at a time, so that it never
// stands in memory as a whole; what the page keeps of it is the browser's to put on disk.

const PAGE = { entries: 500, bytes: 1024 * 1024 };

/**
 * {v, device, at, outbox: [ids], refused: [{id, field, why, do, at}], entries: [...], blobs: [{sha256, type, bytes,
 * base64}]} as a Blob of JSON. Entries are in the order of their ids; attachments those made here.
 */
export async function fileOf(store, files, about) {
  // What waits is read first: an entry added meanwhile is then in the file without being among those that wait.
  const { outbox, refused } = await store.waiting();
  const head = JSON.stringify({ v: 1, ...about, outbox, refused });
  const parts = [`${head.slice(0, -1)},"entries":[`];
  await inPages(parts, (after) => store.writtenAfter(after, PAGE, null), ({ id }) => id);
  parts.push('],"blobs":[');
  await eachBlob(parts, files);
  return new Blob([...parts, "]}"], { type: "application/json" });
}

async function inPages(parts, next, key) {
  let after = null;
  for (let page = await next(after); page.length; page = await next(after)) {
    // A part of its own per page: the text of the page is let go at once.
    parts.push(new Blob([after === null ? "" : ",", JSON.stringify(page).slice(1, -1)]));
    after = key(page.at(-1));
  }
}

async function eachBlob(parts, files) {
  let comma = "";
  for (const name of await files.names()) {
    const { data, ...about } = await files.get(name);
    parts.push(new Blob([comma, JSON.stringify({ ...about, base64: base64(data) })]));
    comma = ",";
  }
}

function base64(data) {
  const bytes = new Uint8Array(data);
  let text = "";
  // A call takes only so many arguments.
  for (let at = 0; at < bytes.length; at += 8192) text += String.fromCharCode(...bytes.subarray(at, at + 8192));
  return btoa(text);
}
