// The rims outside the face: at the retromolar pad, closing with gaps, at the heels of the bases, with their marks.
import { dot, line, mirrored, path, sheet, text, within } from "tm_draw";
import { STATIONS } from "tm_steps";

const LEVEL = { above: 1.25, upper_third: 5 / 6, two_thirds: 2 / 3, half: 1 / 2, lower_third: 1 / 6, below: -0.25 };
const PAD = { top: 64, foot: 130 };

/** The plane of the lower rim carried back to the pad of one side. Unanswered, only what is taught is shown. */
export function pad(which, answer) {
  const at = (share) => PAD.foot - (PAD.foot - PAD.top) * share,
    y = at(LEVEL[answer] ?? 7 / 12);
  return sheet(
    "pad",
    mirrored(
      which === "left",
      path("d-taught", `M18 ${at(2 / 3)}H92V${at(1 / 2)}H18Z`),
      path(
        "d-line",
        `M14 ${PAD.foot + 4}C22 96 34 66 56 ${PAD.top}C76 62 82 104 94 ${PAD.foot}C130 140 170 142 222 140`,
      ),
      [1 / 3, 2 / 3].map((share) => line("d-faint", [24, at(share)], [82, at(share)])),
      path("d-wax", `M106 ${PAD.foot + 2}L116 ${y}H214L220 139C180 141 140 140 106 ${PAD.foot + 2}Z`),
      answer && line("d-value", [10, y], [214, y]),
    ),
  );
}

/** Both rims unrolled, the patient's right on the left; `gaps` {station: mm} opened at their places. */
export function closing(gaps, right, left) {
  const at = (i) => 24 + i * 32,
    lower = STATIONS.map((s, i) => [at(i), 92 + within(gaps[s] ?? 0, 0, 4) * 10]);
  const edge = lower.map(([x, y]) => `L${x} ${y}`).join("");
  return sheet(
    "closing",
    path("d-wax", "M10 52H230V92H10Z"),
    path("d-wax-lower", `M10 ${lower[0][1]}${edge}L230 ${lower[6][1]}V146H10Z`),
    STATIONS.map((s, i) => gaps[s] > 0 && line("d-value", [at(i), 92], lower[i])),
    STATIONS.map((s, i) => gaps[s] === 0 && dot("d-accent", [at(i), 92])),
    text(right, [30, 172]),
    text(left, [214, 172]),
  );
}

/** The backs of both bases from one side, facing right; `touching`: they meet at the heel. `shift`: jaw forward. */
export function heels(touching, shift, said = "") {
  const drop = touching ? 0 : 16,
    x = shift ? 12 : 0;
  return sheet(
    "heels",
    path("d-wax", "M112 54H226V88H100Z"),
    path("d-line", "M226 40H76C54 40 40 52 38 68C44 74 56 74 66 66C76 56 90 54 112 54"),
    path("d-wax-lower", `M${98 + x} 90H${226 + x}V124H${112 + x}Z`),
    path(
      "d-line",
      `M${226 + x} 140H${76 + x}C${52 + x} 140 ${40 + x} ${110 + drop} ${38 + x} ${74 + drop}C${46 + x} ${72 + drop} ${58 + x} ${84 + drop} ${64 + x} ${104 + drop / 2}C${72 + x} 124 ${90 + x} 124 ${112 + x} 124`,
    ),
    touching && path("d-alarm", `M${20 + x} 72H${30 + x}M${26 + x} 56L${34 + x} 63M${26 + x} 90L${34 + x} 82`),
    text(said, [60, 170]),
  );
}

const ARCH = "M44 24C48 72 74 138 120 140C166 138 192 72 196 24";
const MARK_AT = {
  molar_right: [48, 44, 1, 0.2],
  premolar_right: [61, 84, 1, -0.35],
  canine_right: [80, 117, 0.8, -0.6],
  front: [120, 140, 0, 1],
  canine_left: [160, 117, 0.8, 0.6],
  premolar_left: [179, 84, 1, 0.35],
  molar_left: [192, 44, 1, -0.2],
};

/** Marks across both rims at the places of `placed` {station: true}, from above, the patient's right on the left. */
export function marks(placed, moves) {
  return sheet(
    "marks",
    path("d-rim", ARCH),
    path("d-rim-lower", ARCH),
    STATIONS.filter((s) => placed[s]).map((s) => {
      const [x, y, dx, dy] = MARK_AT[s];
      return line("d-tick", [x - dx * 20, y - dy * 20], [x + dx * 20, y + dy * 20]);
    }),
    moves && path("d-value", "M96 70H144M104 62L96 70L104 78M136 62L144 70L136 78"),
  );
}
