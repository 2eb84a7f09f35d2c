// The entry in the browser: its envelope, its bytes, its ids and clock. The source of all of it is sync/entry.py and
// sync/clock.py; tests/sync/golden_entries.json holds both to the same answers.

export const FIELDS = ["v", "id", "visit", "kind", "item", "value", "of", "seen", "at", "clock", "device", "author"];
export const BYTES_MAX = 16 * 1024;
export const DEPTH_MAX = 4;
const MS_MAX = 2 ** 48 - 1;
const COUNTER_MAX = 2 ** 16 - 1;
const ID_COUNTER_MAX = 0xfff;
const FAR_AHEAD_MS = 366 * 24 * 3600 * 1000;

const ID = /^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/;
const KIND = /^[a-z][a-z0-9_-]{0,31}$/;
const NAME = /^[A-Za-z0-9][A-Za-z0-9._:-]{0,79}$/;
const TIME = /^((?:19[7-9]|2\d\d)\d)-(\d\d)-(\d\d)T(?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d(?:\.\d{1,6})?Z$/;
const LONE_SURROGATE = /[\uD800-\uDBFF](?![\uDC00-\uDFFF])|(?<![\uD800-\uDBFF])[\uDC00-\uDFFF]/;

/** The first thing wrong with an entry, as {field, why, do}, or null. Fields are looked at in the order of FIELDS. */
export function checkEnvelope(raw) {
  if (!isObject(raw)) return refusal("entry", "an entry is a JSON object", "Send an object with the fields of an entry.");
  if (Number.isInteger(raw.v) && raw.v > 1) {
    // Before its names: a later sort of entry may well have others.
    return refusal("v", "a newer Threemark wrote this entry", "Update this side; it is then offered again by itself.");
  }
  const names = checkNames(raw);
  if (names) return names;
  for (const name of FIELDS) {
    const why = CHECKS[name](raw[name]);
    if (why) return refusal(name, `${name} ${why}`);
  }
  if (bytes(canonical(raw)).length <= BYTES_MAX) return null;
  return refusal("entry", `the entry is larger than ${BYTES_MAX} bytes`, "Make it shorter.");
}

/** The RFC 8785 text of a JSON value. Throws a TypeError for what JSON cannot hold. */
export function canonical(value) {
  if (value === null || typeof value === "boolean") return String(value);
  if (typeof value === "number" && Number.isFinite(value)) return JSON.stringify(value);
  if (typeof value === "string" && !LONE_SURROGATE.test(value)) return JSON.stringify(value);
  if (Array.isArray(value)) return `[${value.map(canonical).join(",")}]`;
  if (isObject(value)) {
    // The default order of sort() is by UTF-16 code units, which is what RFC 8785 asks for.
    return `{${Object.keys(value).sort().map((key) => `${canonical(key)}:${canonical(value[key])}`).join(",")}}`;
  }
  throw new TypeError("not a JSON value");
}

/** The entries in (clock, id) order, the order in which they count. */
export function inOrder(entries) {
  return [...entries].sort((a, b) => a.clock[0] - b.clock[0] || a.clock[1] - b.clock[1] || (a.id < b.id ? -1 : 1));
}

/** SHA-256 of a text's UTF-8 bytes, 64 hex digits. Only on https and on this machine's own address. */
export async function sha256hex(text) {
  const digest = await crypto.subtle.digest("SHA-256", bytes(text));
  return [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** The digest of a set of entries, as `digest` of sync/seal.py. */
export function digest(entries) {
  return sha256hex(canonical(inOrder(entries)));
}

/**
 * Ids, sorted, of those of these entries that are not in the past of another. The past of an entry is what it names in
 * `seen`, what those name, and so on.
 */
export function frontier(entries) {
  const known = new Map(entries.map((entry) => [entry.id, entry.seen]));
  const past = new Set();
  const todo = entries.flatMap((entry) => entry.seen);
  while (todo.length) {
    const before = todo.pop();
    if (past.has(before)) continue;
    past.add(before);
    todo.push(...(known.get(before) ?? []));
  }
  return [...known.keys()].filter((id) => !past.has(id)).sort();
}

/** The same JSON value with every text in Unicode normal form C, the only form an entry may hold. */
export function nfc(value) {
  if (typeof value === "string") return value.normalize("NFC");
  if (Array.isArray(value)) return value.map(nfc);
  if (isObject(value)) return Object.fromEntries(Object.entries(value).map(([key, part]) => [nfc(key), nfc(part)]));
  return value;
}

/** The [ms, counter] of the id after `last`, greater than it also while the wall clock stands or steps back. */
export function idAfter([ms, counter], now) {
  // The highest bit starts at 0, which leaves room for 2,048 ids in this millisecond (RFC 9562, 6.2).
  if (now > ms) return [now, crypto.getRandomValues(new Uint16Array(1))[0] & 0x7ff];
  return counter < ID_COUNTER_MAX ? [ms, counter + 1] : [ms + 1, 0];
}

/** A UUIDv7 (RFC 9562) of a time in ms and a counter of 12 bits, the rest random. */
export function idText([ms, counter]) {
  const random = crypto.getRandomValues(new Uint8Array(8));
  random[0] = (random[0] & 0x3f) | 0x80;
  const digits = hex(ms, 12) + hex(0x7000 | counter, 4) + [...random].map((byte) => hex(byte, 2)).join("");
  return digits.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}

/** The hybrid clock's next stamp. A clock of its own that is far ahead of the wall was wrong once: it is left behind. */
export function tick(last, now) {
  const [ms, counter] = isFarAhead(last, now) ? [0, 0] : last;
  if (now > ms) return [now, 0];
  return counter < COUNTER_MAX ? [ms, counter + 1] : [ms + 1, 0];
}

/** The clock after hearing of `stamp`; one more than 366 days ahead is not merged. */
export function merged(last, stamp, now) {
  if (isFarAhead(stamp, now)) return last;
  return stamp[0] > last[0] || (stamp[0] === last[0] && stamp[1] > last[1]) ? stamp : last;
}

function isFarAhead(stamp, now) {
  return stamp[0] > now + FAR_AHEAD_MS;
}

function refusal(field, why, advice = "Correct it and enter it again.") {
  return { field, why, do: advice };
}

function checkNames(raw) {
  const unknown = Object.keys(raw).filter((name) => !FIELDS.includes(name)).sort()[0];
  if (unknown !== undefined) {
    const advice = `Leave it out; the fields are ${FIELDS.join(", ")}.`;
    return refusal(NAME.test(unknown) ? unknown : "entry", "an entry has no such field", advice);
  }
  const missing = FIELDS.find((name) => !Object.hasOwn(raw, name));
  return missing ? refusal(missing, `${missing} is missing`, "Send every field of an entry.") : null;
}

const CHECKS = {
  v: (value) => (value === 1 ? "" : "must be 1"),
  id: anId,
  visit: anId,
  kind: (value) =>
    typeof value === "string" && KIND.test(value) ? "" : "must be a word of at most 32 small letters, digits, - and _",
  item: (value) => (value === null ? "" : aName(value)),
  value: (value) => valueAt(value, DEPTH_MAX),
  of: (value) => (value === null ? "" : anId(value)),
  seen,
  at,
  clock,
  device: aName,
  author: aName,
};

function anId(value) {
  return typeof value === "string" && ID.test(value) ? "" : "must be a UUID of version 7 in lower case";
}

function aName(value) {
  const good = typeof value === "string" && NAME.test(value);
  return good ? "" : "must be a name of at most 80 letters, digits, dot, colon, - and _";
}

function seen(value) {
  if (!Array.isArray(value)) return "must be a list of ids";
  if (value.some(anId)) return "must hold UUIDs of version 7 in lower case only";
  return new Set(value).size === value.length ? "" : "names an entry twice";
}

function at(value) {
  const parts = typeof value === "string" ? TIME.exec(value) : null;
  const [year, month, day] = (parts ?? []).slice(1).map(Number);
  const date = new Date(Date.UTC(year, month - 1, day));
  const real = parts && date.getUTCFullYear() === year && date.getUTCMonth() === month - 1 && date.getUTCDate() === day;
  return real ? "" : "must be a time in UTC such as 2026-11-25T09:30:00Z";
}

function clock(value) {
  const whole = (part, most) => Number.isInteger(part) && part >= 0 && part <= most;
  const good = Array.isArray(value) && value.length === 2 && whole(value[0], MS_MAX) && whole(value[1], COUNTER_MAX);
  return good ? "" : "must be [milliseconds, counter], two whole numbers";
}

/** What is wrong with a value that may hold lists and objects nested `deeper` more times. */
function valueAt(value, deeper) {
  if (value === null || typeof value === "boolean") return "";
  if (typeof value === "string") return text(value);
  if (typeof value === "number") {
    return Math.abs(value) <= Number.MAX_SAFE_INTEGER ? "" : "holds a number that is not finite or too large";
  }
  if (!Array.isArray(value) && !isObject(value)) return "must be JSON";
  if (deeper === 0) return `is nested deeper than ${DEPTH_MAX}`;
  const keys = Array.isArray(value) ? [] : Object.keys(value).map(text);
  return keys.find(Boolean) ?? Object.values(value).map((part) => valueAt(part, deeper - 1)).find(Boolean) ?? "";
}

function text(value) {
  if (LONE_SURROGATE.test(value)) return "holds half a character (a lone surrogate)";
  return value === value.normalize("NFC") ? "" : "holds text that is not in Unicode normal form C";
}

function isObject(value) {
  return typeof value === "object" && value !== null && Object.getPrototypeOf(value) === Object.prototype;
}

function bytes(value) {
  return new TextEncoder().encode(value);
}

function hex(number, digits) {
  return number.toString(16).padStart(digits, "0");
}
