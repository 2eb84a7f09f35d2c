// Time that never goes back on this tablet: a clock set back must shorten no wait and lengthen no time limit.

/** As kept: the highest time seen, and by how much this tablet's clock stood behind it (ms since 1970, and ms). */
export const NEW_CLOCK = { highest: 0, behind: 0 };

/**
 * The time now, and the clock as it is to be kept. Where the tablet's own clock (`now`) stands before a time that was
 * seen already, time goes on from there.
 */
export function steady({ highest, behind }, now) {
  const shift = Math.max(behind, highest - now),
    time = now + shift;
  return { time, clock: { highest: time, behind: shift } };
}
