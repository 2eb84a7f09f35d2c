// The mouth: the upper rim below the lip, the edge on the lower lip, the lower rim at the corners.
import { WIDTH, group, line, measure, path, sheet, text, within } from "tm_draw";

const MM = 7; // units of the sheet
const UPPER = "M44 84C74 58 104 50 120 60C136 50 166 58 196 84C168 88 146 87 120 89C94 87 72 88 44 84Z";
const LOWER = "M44 84C76 122 100 130 120 130C140 130 164 122 196 84C174 134 148 154 120 154C92 154 66 134 44 84Z";
const CAVITY = "M44 84C72 88 94 87 120 89C146 87 168 88 196 84C164 122 140 130 120 130C100 130 76 122 44 84Z";
const LIP = 89;

/** Upper rim at rest; `mm` below the lip, negative when the lip hides it; `said` is its text. */
export function display(mm, said = "") {
  const edge = LIP + within(mm, -5, 6) * MM;
  const rim = `M88 68V${edge - 3}Q120 ${edge + 3} 152 ${edge - 3}V68Z`;
  return sheet(
    "display",
    path("d-cavity", CAVITY),
    path("d-wax", rim),
    path("d-flesh", UPPER),
    path("d-flesh", LOWER),
    mm < 0 && path("d-hidden", `M88 ${edge - 3}Q120 ${edge + 3} 152 ${edge - 3}`),
    line("d-faint", [120, LIP], [214, LIP]),
    line("d-faint", [120, edge], [214, edge]),
    measure([206, LIP], [206, edge]),
    text(said, [238, 176], "end"),
  );
}

/** Lower rim against the corners of the mouth; `mm` above them. */
export function corners(mm, said = "") {
  const top = 84 - within(mm, -4, 4) * MM;
  return sheet(
    "corners",
    path("d-cavity", CAVITY),
    path("d-wax", `M82 ${top}H158L150 128H90Z`),
    path("d-flesh", LOWER),
    path("d-line", "M44 84C74 58 104 50 120 60C136 50 166 58 196 84"),
    line("d-reference", [16, 84], [WIDTH - 16, 84]),
    line("d-value", [66, top], [174, top]),
    text(said, [120, 174]),
  );
}

/** Where the edge of the upper rim stands on the lower lip in F and V, cut through the middle and facing right. */
export function edgeOnLip(answer) {
  const x = { short: 148, past: 196 }[answer] ?? 172;
  return sheet(
    "edge",
    group("translate(-36)", [
      path("d-wax", `M104 12H140L${x + 7} 106Q${x} 113 ${x - 9} 107Z`),
      path("d-flesh", "M176 4C174 34 184 52 202 66C212 74 208 86 198 84C182 80 164 54 158 4"),
      path("d-flesh", "M136 178C136 140 146 116 170 114C196 112 210 124 206 142C203 156 196 162 204 178"),
      path("d-accent-line", "M172 106V124"),
    ]),
  );
}

const CLOSED = {
  easy: [
    "M56 92C80 70 108 66 120 75C132 66 160 70 184 92Q120 97 56 92Z",
    "M56 92Q120 97 184 92C160 124 80 124 56 92Z",
  ],
  collapsed: [
    "M60 104C84 84 108 80 120 85C132 80 156 84 180 104Q120 84 60 104Z",
    "M60 104Q120 84 180 104C156 112 84 112 60 104Z",
  ],
  strained: ["M62 92C90 82 150 82 178 92Q120 94 62 92Z", "M62 92Q120 94 178 92C150 103 90 103 62 92Z"],
  open: [
    "M56 90C80 68 108 64 120 73C132 64 160 68 184 90Q120 82 56 90Z",
    "M56 90Q120 116 184 90C160 134 80 134 56 90Z",
  ],
};
const CHIN = "M104 146Q120 138 136 146M112 158Q120 154 128 158";

/** The lips with the rims closed, from the front: "easy", "collapsed", "strained" or "open". */
export const lips = (look) =>
  sheet(
    "lips",
    look === "open" && path("d-cavity", "M56 90Q120 82 184 90Q120 116 56 90Z"),
    CLOSED[look].map((d) => path("d-flesh", d)),
    path("d-soft", look === "strained" ? CHIN : "M96 150Q120 160 144 150"),
    look === "collapsed" && path("d-soft", "M50 92Q44 108 52 120M190 92Q196 108 188 120"),
  );
