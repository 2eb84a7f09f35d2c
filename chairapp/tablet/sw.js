// Serves the tablet page from whole releases. A release is release.json: {version, assets: [{url, sha256, size}]}. The
// pointer to the present one moves only when every file is here and has its hash; until then the old one goes on.

const PAGE = "/chair";
const RELEASE = "/chair/release.json";
const FOLDER = "/chair/files/";
const META = "chair-meta";
const RELEASES = "chair-release-";
const POINTER = new URL("/chair/files/pointer", location).href;
const CHECK_MS = 1500;
const FETCH_MS = 6000;
const INSTALL_MS = 20000;
const AT_ONCE = 6;
const KEPT_HEADERS = ["content-type", "content-security-policy", "referrer-policy", "x-content-type-options"];
const CONNECT_ONCE = `{{ connect_once }}`;

const filling = new Map();

self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("message", (event) => {
  if (event.data === "status") event.waitUntil(announce([event.source]));
  if (event.data === "check") event.waitUntil(latest(FETCH_MS).then(ensure).catch(later));
});
self.addEventListener("fetch", (event) => {
  const { method, mode, url } = event.request;
  const { origin, pathname } = new URL(url);
  if (method !== "GET" || origin !== location.origin) return;
  if (mode === "navigate" && pathname === PAGE) event.respondWith(page(event));
  else if (pathname.startsWith(FOLDER)) event.respondWith(file(event.request));
});

async function install() {
  await ensure(await latest(INSTALL_MS));
  await self.skipWaiting();
}

/** The page of the newest release that is whole here, after a short look whether there is a newer one. */
async function page(event) {
  const before = (await pointer()).current;
  try {
    const release = await latest(CHECK_MS);
    if (release.version !== before?.version || !(await isWhole(before))) {
      const filled = ensure(release);
      event.waitUntil(filled.catch(later));
      await within(filled, FETCH_MS);
    }
  } catch (error) {
    later(error);
  }
  return (await fromReleases(PAGE)) ?? fromNetwork(event.request);
}

async function fromNetwork(request) {
  try {
    return await fetch(request);
  } catch {
    const headers = { "content-type": "text/html; charset=utf-8" };
    return new Response(CONNECT_ONCE, { status: 503, headers });
  }
}

async function file(request) {
  return (await fromReleases(new URL(request.url).pathname)) ?? fetch(request);
}

async function fromReleases(path) {
  const { current, previous } = await pointer();
  for (const release of [current, previous]) {
    const found = release && (await (await caches.open(RELEASES + release.version)).match(path));
    if (found) return found;
  }
  return undefined;
}

async function latest(ms) {
  return within(fetch(RELEASE, { cache: "no-store" }).then(jsonOf), ms);
}

/** Fetch and check a whole release, then point to it. Several who ask for the same one share the work. */
function ensure(release) {
  if (!filling.has(release.version)) {
    filling.set(release.version, fill(release).finally(() => filling.delete(release.version)));
  }
  return filling.get(release.version);
}

async function fill(release) {
  const { current, previous } = await pointer();
  if (current?.version === release.version && (await isWhole(current))) return;
  const here = await caches.open(RELEASES + release.version);
  const waiting = [...release.assets];
  const take = async () => {
    while (waiting.length) await bring(waiting.shift(), here, current);
  };
  await Promise.all(Array.from({ length: AT_ONCE }, take));
  const other = current?.version === release.version ? previous : current;
  await setPointer({ current: release, previous: other ?? null });
  await dropAllBut([release, other]);
  await announce(await self.clients.matchAll({ includeUncontrolled: true }));
}

/** One file into a release: the one here already, the old release's if it has the same hash, or the node's. */
async function bring({ url, sha256 }, here, current) {
  if (await hasHash(await here.match(url), sha256)) return;
  const old = current?.assets.some((known) => known.url === url && known.sha256 === sha256);
  const kept = old && (await (await caches.open(RELEASES + current.version)).match(url));
  if (await hasHash(kept || undefined, sha256)) return here.put(url, kept);
  for (const cache of ["default", "reload"]) {
    const response = await fetch(url, { cache, credentials: "same-origin" });
    if (!response.ok) throw new Error(`${url} ${response.status}`);
    const body = await response.arrayBuffer();
    if ((await sha256of(body)) === sha256) return here.put(url, new Response(body, { headers: keptOf(response) }));
  }
  // The node has moved on to another release meanwhile, or the line garbles: later.
  throw new Error(`${url} is not what the release says`);
}

async function isWhole(release) {
  const here = await caches.open(RELEASES + release.version);
  const paths = new Set((await here.keys()).map((request) => new URL(request.url).pathname));
  return release.assets.every(({ url }) => paths.has(url));
}

async function hasHash(response, sha256) {
  return response !== undefined && (await sha256of(await response.clone().arrayBuffer())) === sha256;
}

async function sha256of(body) {
  const digest = await crypto.subtle.digest("SHA-256", body);
  return [...new Uint8Array(digest)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

function keptOf(response) {
  return Object.fromEntries(KEPT_HEADERS.map((name) => [name, response.headers.get(name)]).filter(([, value]) => value));
}

async function pointer() {
  const found = await (await caches.open(META)).match(POINTER);
  return found ? found.json() : { current: null, previous: null };
}

async function setPointer(value) {
  await (await caches.open(META)).put(POINTER, new Response(JSON.stringify(value)));
}

async function dropAllBut(releases) {
  const kept = releases.filter(Boolean).map((release) => RELEASES + release.version);
  const names = (await caches.keys()).filter((name) => name.startsWith(RELEASES) && !kept.includes(name));
  await Promise.all(names.map((name) => caches.delete(name)));
}

async function announce(clients) {
  const { current } = await pointer();
  if (current) clients.forEach((client) => client?.postMessage({ release: current.version }));
}

function jsonOf(response) {
  if (!response.ok) throw new Error(`release ${response.status}`);
  return response.json();
}

function within(promise, ms) {
  return new Promise((resolve, reject) => {
    const timer = setTimeout(() => reject(new Error("too slow")), ms);
    promise.then(resolve, reject).finally(() => clearTimeout(timer));
  });
}

/** Offline, slow or half delivered: the release that is here goes on; the next look tries again. */
function later(error) {
  console.info(`release: ${error.message}`);
}
