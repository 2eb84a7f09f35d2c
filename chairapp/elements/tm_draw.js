// The pen of the drawings: vnodes of lines, wax and marks on a sheet of 240 x 180. Looks are classes (drawings.css).
import { h } from "vue";

export const WIDTH = 240,
  HEIGHT = 180;

/** A whole drawing; `name` is what its text alternative goes by (tm_drawings). */
export const sheet = (name, ...parts) =>
  h("svg", { class: "drawing", "data-drawing": name, viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "img" }, parts.flat());

export const path = (look, d) => h("path", { class: look, d });
export const line = (look, [x, y], [toX, toY]) => h("path", { class: look, d: `M${x} ${y}L${toX} ${toY}` });
export const dot = (look, [cx, cy], r = 4) => h("circle", { class: look, cx, cy, r });
export const group = (transform, ...parts) => h("g", { transform }, parts.flat());
export const text = (words, [x, y], anchor = "middle") =>
  h("text", { class: "d-text", x, y, "text-anchor": anchor }, words);

/** The sheet seen in a mirror. Text stays outside. */
export const mirrored = (isMirrored, ...parts) =>
  isMirrored ? group(`translate(${WIDTH}) scale(-1 1)`, ...parts) : parts.flat();

/** A measure between two points, with a bar at each end across it. */
export function measure([x, y], [toX, toY], look = "d-value") {
  const size = Math.hypot(toX - x, toY - y) || 1,
    [dx, dy] = [(-(toY - y) / size) * 7, ((toX - x) / size) * 7];
  return [
    line(look, [x, y], [toX, toY]),
    line(look, [x - dx, y - dy], [x + dx, y + dy]),
    line(look, [toX - dx, toY - dy], [toX + dx, toY + dy]),
  ];
}

/** The place at `length` from a point, `degrees` clockwise of the way to the right (y points down). */
export function away([x, y], degrees, length) {
  const angle = (degrees * Math.PI) / 180;
  return [x + Math.cos(angle) * length, y + Math.sin(angle) * length];
}

/** A drawing has edges; what lies further out is drawn at the edge, while its number is told beside it. */
export const within = (value, least, most) => Math.min(most, Math.max(least, value));
