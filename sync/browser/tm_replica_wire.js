// One call to a node: its headers, its time limit, its body packed where that saves something, its answer or why not.

import { ReplicaError } from "tm_replica_error";

export const PROTOCOL = "1";
// Below this a body fits into a packet or three, and packing it costs more than it saves.
const PACK_FROM = 4096;

/**
 * Ask `base` + `path`. `body` is sent as JSON, `bytes` as they are; `raw` gives the answer's bytes in place of its JSON.
 * The time limit (ms) covers the answer's body too. Rejects with a ReplicaError: "unreachable" (`late` when the time was
 * up), or "refused" with the node's words and its `status`.
 * @returns {Promise<{status: number, value: *, etag: ?string, date: ?string}>} value is undefined for 204 and 304; `date`
 *          is the node's own time, where a browser lets that be seen
 */
export async function call(base, path, { method = "GET", body, bytes, etag, token, raw, timeout }) {
  const limit = new AbortController();
  const timer = setTimeout(() => limit.abort(), timeout);
  try {
    const sent = bytes ? { content: bytes, "Content-Type": "application/octet-stream" } : await packed(body);
    const { content, ...about } = sent;
    const headers = { "Threemark-Protocol": PROTOCOL, ...about, ...headersOf({ etag, token }) };
    const how = { method, headers, body: content, signal: limit.signal, cache: "no-store", credentials: "omit" };
    return await answerOf(await fetch(base + path, how), raw);
  } catch (error) {
    if (error instanceof ReplicaError) throw error;
    throw new ReplicaError("unreachable", { why: NO_ANSWER, late: limit.signal.aborted });
  } finally {
    clearTimeout(timer);
  }
}

/** The node answered, but not with what it should have. */
export function refusedBy(why, advice, status = 0) {
  return new ReplicaError("refused", { why, do: advice, status });
}

export function query(parameters) {
  const given = Object.entries(parameters).filter(([, value]) => value !== null && value !== undefined);
  return given.length ? `?${new URLSearchParams(given)}` : "";
}

const NO_ANSWER = "No answer from the clinic's computer.";

async function packed(body) {
  if (!body) return {};
  const about = { "Content-Type": "application/json" };
  const text = JSON.stringify(body);
  if (text.length < PACK_FROM || !("CompressionStream" in globalThis)) return { content: text, ...about };
  const stream = new Blob([text]).stream().pipeThrough(new CompressionStream("gzip"));
  return { content: await new Response(stream).arrayBuffer(), ...about, "Content-Encoding": "gzip" };
}

function headersOf({ etag, token }) {
  return { ...(token ? { Authorization: `Bearer ${token}` } : {}), ...(etag ? { "If-None-Match": etag } : {}) };
}

async function answerOf(response, raw) {
  const { status } = response;
  const spoken = response.headers.get("Threemark-Protocol");
  if (spoken && spoken !== PROTOCOL) {
    throw refusedBy(`The node speaks protocol ${spoken}, this page speaks ${PROTOCOL}.`, "Update the older of the two.");
  }
  if (status === 204 || status === 304) return { status };
  if (!response.ok) throw await sayingNo(response);
  const value = raw ? await response.arrayBuffer() : await response.json();
  return { status, value, etag: response.headers.get("ETag"), date: response.headers.get("Date") };
}

async function sayingNo(response) {
  const said = await response.json().then((body) => body.error, () => undefined);
  const { field = "", why = `The node answered ${response.status}.`, do: advice = "" } = said ?? {};
  return new ReplicaError("refused", { field, why: sentence(why), do: sentence(advice), status: response.status });
}

function sentence(text) {
  return text && !/[.!?]$/.test(text) ? `${text}.` : text;
}
