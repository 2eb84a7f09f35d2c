// The rims cut through, facing right: one on the bench, and both together.
import { away, dot, group, line, measure, path, sheet, text, within } from "tm_draw";

const EDGE = [164, 142]; // where the labial face meets the occlusal surface
const TOP = 52;
const BACK = 96;
const SAID_AT = { height: [188, 176], width: [130, 178], slope: [110, 174] };

/** One rim on its base, sloping by `angle` degrees. `what` is measured ("height", "width", "slope"); `said` is its text. */
export function section(rim, what, angle = 80, said = "") {
  const lean = (EDGE[1] - TOP) / Math.tan((angle * Math.PI) / 180),
    top = [EDGE[0] - lean, TOP];
  const [from, to] = [180, 180 + angle].map((way) => away(EDGE, way, 40));
  return sheet(
    "section",
    group(
      rim === "lower" ? "translate(0 180) scale(1 -1)" : "",
      path("d-wax", `M${top.join(" ")}L${EDGE.join(" ")}H${BACK}L${BACK + 6} ${TOP}Z`),
      path("d-line", `M34 92C50 60 ${BACK - 20} ${TOP - 2} ${BACK + 6} ${TOP}H${top[0]}`),
      path("d-line", `M${top.join(" ")}c14 0 18 -12 12 -28`),
      what === "height" && measure([206, TOP], [206, EDGE[1]]),
      what === "width" && measure([BACK, 160], [EDGE[0], 160]),
      what === "slope" && [
        line("d-value", EDGE, away(EDGE, 180 + angle, 112)),
        line("d-faint", EDGE, [40, EDGE[1]]),
        path("d-value", `M${from.join(" ")}A40 40 0 0 1 ${to.join(" ")}`),
        dot("d-mark", EDGE),
      ],
    ),
    text(said, SAID_AT[what]),
  );
}

const MM = 9; // units of the sheet
const FRONT = 156;
const CLOSED = 84;

/** Both rims in front: the upper one `overjet` mm outside the lower, `gap` mm apart; `said` stands at the value. */
export function rims({ overjet = 2, gap = 0, shows, said = "" }) {
  const x = FRONT - within(overjet, -3, 6) * MM,
    y = CLOSED + within(gap, 0, 6) * MM;
  return sheet(
    "rims",
    path("d-wax", `M88 14H${FRONT - 12}L${FRONT} ${CLOSED}H92Z`),
    path("d-wax-lower", `M${x - 58} ${y}H${x}L${x - 8} ${y + 62}H${x - 54}Z`),
    shows === "overjet"
      ? [
          line("d-faint", [FRONT, CLOSED], [FRONT, y + 44]),
          measure([x, y + 30], [FRONT, y + 30]),
          text(said, [FRONT + 12, y + 36], "start"),
        ]
      : [
          [CLOSED, y].map((at) => line("d-faint", [60, at], [214, at])),
          measure([200, CLOSED], [200, y]),
          text(said, [236, CLOSED - 12], "end"),
        ],
  );
}

/** Both rims from the front with their guide lines; `shift` mm + to the patient's left, `high` mm above the edge. */
export function lines({ shift = 0, high = null, shows, right, left }) {
  const look = (name) => (shows === name ? "d-value" : "d-reference"),
    middle = 120 + within(shift, -6, 6) * 7;
  return sheet(
    "lines",
    path("d-wax", "M34 34Q120 22 206 34V92H34Z"),
    path("d-wax-lower", "M34 92H206V138Q120 148 34 138Z"),
    line("d-faint", [120, 20], [120, 152]),
    line(look("midline"), [middle, 30], [middle, 132]),
    [middle - 48, middle + 48].map((x) => line(look("canines"), [x, 36], [x, 92])),
    high !== null && line(look("high"), [40, 92 - within(high, 0, 14) * 4.5], [200, 92 - within(high, 0, 14) * 4.5]),
    text(right, [40, 174]),
    text(left, [200, 174]),
  );
}
