// The frozen page's own files: registers the service worker and says whether the page works with the network off.
//
// Import it as "tm_release". The page starts it by itself.

/**
 * `offlineReady`: every file of a release is on this tablet. `version`: of the page now open. `newer`: another version
 * is on this tablet already and shows after a reload (reload when no answer is being typed, never by itself).
 * `message`: a sentence when the page cannot be kept for offline use on this address, or null.
 * @returns {{offlineReady: boolean, version: string, newer: boolean, message: ?string}}
 */
export function status() {}

/** Hear of every change of the status. @returns {function(): void} the way to stop */
export function subscribe(heard) {}

/** Register the service worker. Called by the page. */
export function start() {}
