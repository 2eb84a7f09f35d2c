// The frozen page's own files: registers the service worker and says whether the page works with the network off.
//
// Import it as "tm_release". The page starts it by itself.

const config = JSON.parse(document.getElementById("tm-config").textContent);
const state = { offlineReady: false, version: config.release, newer: false, message: null };
const subscribers = new Set();
let started = false;

/**
 * `offlineReady`: every file of a release is on this tablet. `version`: of the page now open. `newer`: another version
 * is on this tablet already and shows after a reload (reload when no answer is being typed, never by itself).
 * `message`: a sentence when the page cannot be kept for offline use on this address, or null.
 * @returns {{offlineReady: boolean, version: string, newer: boolean, message: ?string}}
 */
export function status() {
  return { ...state };
}

/** Hear of every change of the status. @returns {function(): void} the way to stop */
export function subscribe(heard) {
  subscribers.add(heard);
  return () => subscribers.delete(heard);
}

/** Register the service worker. Called by the page. */
export async function start() {
  if (started) return;
  started = true;
  const workers = navigator.serviceWorker;
  if (!workers) return change({ message: INSECURE });
  workers.addEventListener("message", ({ data }) => {
    if (data.release) change({ offlineReady: true, newer: data.release !== config.release, message: null });
  });
  addEventListener("online", () => tellWorker("check"));
  try {
    await workers.register(config.worker, { scope: config.scope, updateViaCache: "none" });
    await tellWorker("status");
  } catch (error) {
    // Offline the registration of the day before serves; what is wrong otherwise is for whoever looks after the tablet.
    if (await workers.getRegistration(config.scope)) return tellWorker("status");
    change({ message: `${REFUSED} (${error.message})` });
  }
}

async function tellWorker(word) {
  (await navigator.serviceWorker.ready).active.postMessage(word);
}

function change(values) {
  Object.assign(state, values);
  for (const heard of subscribers) heard(status());
}

const INSECURE = "This address cannot be kept on the tablet: open it over https, or on the computer itself.";
const REFUSED = "This tablet does not trust the address of this page, so it works only while connected.";
