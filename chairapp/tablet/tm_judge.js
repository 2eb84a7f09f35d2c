// Asks the judge, which runs in a worker, and never leaves a question without an answer.
//
// Import it as "tm_judge". Where its files are is read from the page's tm-config.

const BOOT_MS = 60000;
const ANSWER_MS = 20000;
const STARTS = 3;

/** Why there is no answer: `message` is a sentence for the clinician. `code`: "failed" (the judge stopped) or "input". */
export class JudgeError extends Error {
  constructor(code, message) {
    super(message);
    this.name = "JudgeError";
    this.code = code;
  }
}

const state = { state: "idle", message: null };
const subscribers = new Set();
const keys = new WeakMap();
const queue = [];
let worker = null;
let asking = null;
let given = new Set();
let starts = 0;
let counter = 0;
let timer = null;

/** Start the worker; asking starts it too. Call when the page is idle, so that the first verdict does not wait. */
export function start() {
  if (worker) return;
  starts += 1;
  given = new Set();
  const { judge } = JSON.parse(document.getElementById("tm-config").textContent);
  change("loading", null);
  const mine = new Worker(judge.worker);
  worker = mine;
  worker.onmessage = ({ data }) => { if (worker === mine) heard(data); };
  worker.onerror = (event) => { if (worker === mine) stopped(event.message); };
  worker.postMessage({ boot: judge });
  limit(BOOT_MS);
}

/** @returns {{state: "idle"|"loading"|"ready"|"failed", message: ?string}} `message` is for the clinician. */
export function status() {
  return { ...state };
}

/** Hear of every change of the status. @returns {function(): void} the way to stop */
export function subscribe(heard) {
  subscribers.add(heard);
  return () => subscribers.delete(heard);
}

/**
 * State and verdict of a visit: {"state", "verdict"} as chairapp/sequence/view.py gives them.
 *
 * Views of one visit are coalesced: while one is being judged only the latest waits, and all who asked before it get
 * the latest one's answer. `sequence` is the sequence document; the same object is handed to the worker only once.
 * `people` gives names for staff ids. Rejects with a JudgeError.
 */
export function view(visit, sequence, entries, language, people = null) {
  const payload = () => ({ sequence: keyOf(sequence), entries, language, people });
  const waiting = queue.find((question) => question.visit === visit);
  if (waiting) {
    Object.assign(waiting, { sequence, payload });
    return waiting.answer;
  }
  return put({ fn: "view", visit, sequence, payload });
}

/** What is wrong with an entry before it is kept: {"field", "why", "do"} or null, as chairapp/sequence/check.py. */
export function check(sequence, entry, language = "en") {
  return put({ fn: "check", visit: null, sequence, payload: () => ({ sequence: keyOf(sequence), entry, language }) });
}

/** What a signature made now would cover: {"covers", "entries"}, as `to_sign` of chairapp/sequence/view.py. */
export function toSign(sequence, entries) {
  return put({ fn: "sign", visit: null, sequence, payload: () => ({ sequence: keyOf(sequence), entries }) });
}

function put(question) {
  question.answer = new Promise((resolve, reject) => Object.assign(question, { resolve, reject }));
  // A tap waits for what was typed to be looked at; a verdict may come a moment later.
  const first = question.fn === "check" ? queue.findIndex((other) => other.fn === "view") : -1;
  queue.splice(first < 0 ? queue.length : first, 0, question);
  if (state.state === "failed") starts = 0;
  start();
  next();
  return question.answer;
}

function next() {
  if (state.state !== "ready" || asking || !queue.length) return;
  asking = queue.shift();
  counter += 1;
  const key = keyOf(asking.sequence);
  if (!given.has(key)) {
    worker.postMessage({ sequence: key, document: JSON.stringify(asking.sequence) });
    given.add(key);
  }
  asking.number = counter;
  worker.postMessage({ ask: counter, fn: asking.fn, payload: JSON.stringify(asking.payload()) });
  limit(ANSWER_MS);
}

function heard(data) {
  clearTimeout(timer);
  if (data.ready) {
    change("ready", null);
    return next();
  }
  if (!asking || data.ask !== asking.number) return data.error ? stopped(data.error) : undefined;
  const question = asking;
  asking = null;
  if (data.error) question.reject(data.input ? new JudgeError("input", data.error) : fault(data.error));
  else {
    starts = 0;
    question.resolve(JSON.parse(data.out).out);
  }
  return next();
}

/** The judge found its own fault in one question: said to the one who asked; the others are still answered. */
function fault(detail) {
  console.error(`judge: ${detail}`);
  return new JudgeError("failed", FAULT);
}

/** The worker is gone or silent: begin a new one with what was asked; after a few in vain say so to all. */
function stopped(detail) {
  console.error(`judge: ${detail}`);
  clearTimeout(timer);
  worker.terminate();
  worker = null;
  if (asking) queue.unshift(asking);
  asking = null;
  if (starts < STARTS) return start();
  change("failed", FAILED);
  for (const question of queue.splice(0)) question.reject(new JudgeError("failed", FAILED));
  return undefined;
}

function limit(ms) {
  clearTimeout(timer);
  timer = setTimeout(() => stopped(`no answer in ${ms} ms`), ms);
}

function change(name, message) {
  Object.assign(state, { state: name, message });
  for (const heardOf of subscribers) heardOf(status());
}

function keyOf(sequence) {
  if (!keys.has(sequence)) keys.set(sequence, `sequence-${(counter += 1)}`);
  return keys.get(sequence);
}

const FAULT = "The judge could not work out a verdict. Your answers are kept.";
const FAILED = "The judge has stopped on this tablet. Your answers are kept: load the page again to have them judged.";
