// Asks the judge, which runs in a worker, and never leaves a question without an answer.
//
// Import it as "tm_judge". Where its files are is read from the page's tm-config.

/** Why there is no answer: `message` is a sentence for the clinician. `code`: "failed" (the judge stopped) or "input". */
export class JudgeError extends Error {}

/** Start the worker; asking starts it too. Call when the page is idle, so that the first verdict does not wait. */
export function start() {}

/** @returns {{state: "idle"|"loading"|"ready"|"failed", message: ?string}} `message` is for the clinician. */
export function status() {}

/** Hear of every change of the status. @returns {function(): void} the way to stop */
export function subscribe(heard) {}

/**
 * State and verdict of a visit: {"state", "verdict"} as chairapp/sequence/view.py gives them.
 *
 * Views of one visit are coalesced: while one is being judged only the latest waits, and all who asked before it get
 * the latest one's answer. `sequence` is the sequence document; the same object is handed to the worker only once.
 * Rejects with a JudgeError.
 */
export function view(visit, sequence, entries, language) {}

/** What is wrong with an entry before it is kept: {"field", "why", "do"} or null, as chairapp/sequence/check.py. */
export function check(sequence, entry) {}
