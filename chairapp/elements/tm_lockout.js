// How long somebody waits after wrong PINs.

const FREE = 4; // wrong tries without a wait
const FIRST_MS = 30 * 1000;
const LONGEST_MS = 60 * 60 * 1000;

/** Milliseconds to wait after so many wrong tries in a row: none, then 30 s, doubled each time, an hour at most. */
export function waitAfter(wrong) {
  return wrong <= FREE ? 0 : Math.min(LONGEST_MS, FIRST_MS * 2 ** (wrong - FREE - 1));
}
