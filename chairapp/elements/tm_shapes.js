// Small pictures, drawn here so that nothing has to be fetched. A verdict has its own outline, so colour is never
// needed.
import { h } from "vue";
import { told } from "tm_words";

const STROKE = {
  fill: "none",
  stroke: "currentColor",
  "stroke-width": 2.4,
  "stroke-linecap": "round",
  "stroke-linejoin": "round",
};
const CUT = { ...STROKE, stroke: "var(--shape-cut, #fff)" };
const line = (d, how = STROKE) => h("path", { d, ...how });
const solid = (d) => h("path", { d, fill: "currentColor" });
const circle = (how) => h("circle", { cx: 12, cy: 12, r: 9, ...how });

const DRAWN = {
  open: () => [circle({ ...STROKE, "stroke-dasharray": "3.2 4.1", "stroke-width": 2 })],
  stale: () => [line("M19.5 8.5A8.5 8.5 0 1 0 20.5 13.5"), line("M20.5 3.5v5.4h-5.4")],
  unsure: () => [solid("M12 1.2 22.8 12 12 22.8 1.2 12z"), line("M7.4 13.2c1.5-2.6 3.1-2.6 4.6-1.2s3.1 1.4 4.6-1.2", CUT)],
  off: () => [solid("M8 1.6h8L22.4 8v8L16 22.4H8L1.6 16V8z"), line("M12 6.6v6.6", CUT), line("M12 17.1v.1", CUT)],
  fits: () => [circle({ r: 11, fill: "currentColor" }), line("m7 12.4 3.5 3.5L17 9", CUT)],
  accepted: () => [
    solid("M5 1.5h14A3.5 3.5 0 0 1 22.5 5v14a3.5 3.5 0 0 1-3.5 3.5H5A3.5 3.5 0 0 1 1.5 19V5A3.5 3.5 0 0 1 5 1.5z"),
    line("m7 10.4 3.5 3.5L17 7", CUT),
    line("M7 18.2h10", CUT),
  ],
  back: () => [line("M15 5l-7 7 7 7")],
  next: () => [line("M9 5l7 7-7 7")],
  down: () => [line("M5 9l7 7 7-7")],
  done: () => [line("m5 12.6 4.6 4.6L19.5 7")],
  cross: () => [line("M6.5 6.5l11 11M17.5 6.5l-11 11")],
  undo: () => [line("M8.5 5 4 9.5 8.5 14"), line("M4 9.5h9.5a6 6 0 0 1 0 12H9")],
  erase: () => [line("M8.2 5H21v14H8.2L2.5 12z"), line("M12 9.3l5.4 5.4M17.4 9.3 12 14.7")],
  person: () => [h("circle", { cx: 12, cy: 8, r: 4, ...STROKE }), line("M4.5 20.5c1-4 4-5.5 7.5-5.5s6.5 1.5 7.5 5.5")],
  lock: () => [h("rect", { x: 4.5, y: 10.5, width: 15, height: 11, rx: 2, ...STROKE }), line("M8 10.5V7.5a4 4 0 0 1 8 0v3")],
  tablet: () => [h("rect", { x: 5, y: 2.5, width: 14, height: 19, rx: 2.5, ...STROKE }), line("M10.5 18h3")],
  sent: () => [line("m2.5 12.8 4.4 4.4 9-9.6"), line("m11.5 16.2 1.2 1 8.8-9.4")],
  alert: () => [line("M12 3 22.5 21h-21z"), line("M12 9.5v5"), line("M12 17.7v.1")],
  unpaired: () => [
    line("M9.5 14.5 5.5 18.5a3.8 3.8 0 0 1-1-6.5l2-2"),
    line("M14.5 9.5l4-4a3.8 3.8 0 0 1 1 6.5l-2 2"),
    line("M4 4l16 16"),
  ],
  camera: () => [
    line("M3 7.5h4.5l1.8-3h5.4l1.8 3H21v12H3z"),
    h("circle", { cx: 12, cy: 13, r: 3.6, ...STROKE }),
  ],
  picture: () => [line("M3 4.5h18v15H3z"), line("m3.5 17 5-5.5 3.8 4 2.7-2.6 5.5 5"), line("M15.5 8.6v.1")],
  turn: () => [line("M19.5 12a7.5 7.5 0 1 1-2.6-5.7"), line("M17.6 2.2v4.6H13")],
  speak: () => [line("M4 5h16v11h-9l-5 4.5V16H4z")],
  plus: () => [line("M12 5v14M5 12h14")],
  wax: () => [line("M3 17c2-9 5-12 9-12s7 3 9 12"), line("M7.5 17c1-5 2.5-7 4.5-7s3.5 2 4.5 7")],
};

export const shape = (name, extra = {}) =>
  h("svg", { class: ["shape", `shape-${name}`], viewBox: "0 0 24 24", "aria-hidden": "true", ...extra }, DRAWN[name]());

/** Word and shape of a verdict; the colour comes from the class. */
export const badge = (verdict, word) =>
  h("span", { class: ["badge", `is-${verdict}`] }, [shape(verdict), h("span", word)]);

/** What is wrong, {why, do}, read out at once; nothing when nothing is. */
export const faultNote = (fault) =>
  fault && h("p", { class: "fault", role: "alert" }, [shape("alert"), h("span", told(fault))]);
