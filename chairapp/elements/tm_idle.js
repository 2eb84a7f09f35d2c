// A tablet left alone locks itself. What is on the screen stays behind the lock, as it was.
const LOOK_MS = 5000;
const SIGNS = ["pointerdown", "keydown", "input"];

/**
 * `limit()` is how many ms of nothing lock it, `active()` whether there is anybody to lock out, `seen()` hears of
 * somebody at work, `lock()` locks.
 */
export function watchIdle({ limit, active, seen, lock }) {
  let last = Date.now();
  const over = () => active() && Math.abs(Date.now() - last) >= limit(); // a clock set back is not taken for work
  const look = () => over() && lock();
  const sign = (event) => {
    // A tablet that slept through its time: the tap that wakes it must find it locked.
    if (over()) {
      event.stopPropagation();
      event.preventDefault();
      lock();
    }
    last = Date.now();
    if (active()) seen();
  };
  for (const kind of SIGNS) addEventListener(kind, sign, { capture: true, passive: false });
  for (const kind of ["visibilitychange", "pageshow"]) addEventListener(kind, look);
  setInterval(look, LOOK_MS);
}
