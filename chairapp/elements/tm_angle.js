// Angles between points set on a picture. A point is [x, y] in its pixels, y downwards.

/**
 * Degrees by which the rim (`c` to `d`) is tilted to the reference line (`a` to `b`), + when the patient's right, or
 * the back, is lower. Right or back comes first in both. The same for a mirrored picture, and for one turned by less
 * than a right angle. Null when the points of a line coincide, or the reference line stands upright: which side is
 * right is then unknown.
 */
export function lineAngle([a, b, c, d]) {
  const r = minus(b, a),
    m = minus(d, c);
  if (!length(r) || !length(m) || r[0] === 0) return null;
  const angle = -Math.sign(r[0]) * degrees(Math.atan2(cross(r, m), dot(r, m)));
  return angle === 0 ? 0 : angle;
}

/** Degrees of the corner at `b` between `a` and `c`, 0 to 180, or null when one of them lies on the corner. */
export function cornerAngle([a, b, c]) {
  const one = minus(a, b),
    other = minus(c, b);
  if (!length(one) || !length(other)) return null;
  return degrees(Math.abs(Math.atan2(cross(one, other), dot(one, other))));
}

/** Whether the reference line is nearer to upright than to level: the picture lies on its side. */
export function isOnItsSide([a, b]) {
  const [x, y] = minus(b, a);
  return Math.abs(y) > Math.abs(x);
}

/** Tenths, half away from zero: what is shown is what is kept. */
export function tenths(angle) {
  const size = Math.floor(Math.abs(angle) * 10 + 0.5 + 1e-9) / 10;
  return angle < 0 && size > 0 ? -size : size;
}

const minus = ([x, y], [fromX, fromY]) => [x - fromX, y - fromY];
const cross = ([x, y], [otherX, otherY]) => x * otherY - y * otherX;
const dot = ([x, y], [otherX, otherY]) => x * otherX + y * otherY;
const length = ([x, y]) => Math.hypot(x, y);
const degrees = (radians) => (radians * 180) / Math.PI;
