// The head: from the front (the patient's right on the left of the drawing), from either side, and the profile of nose
// and lip.
import { away, dot, group, line, measure, mirrored, path, sheet, text } from "tm_draw";

const PROFILE =
  "M147 4C154 16 157 30 155 44C154 51 157 55 161 61L181 83C186 89 184 94 177 95L168 97C165 98 165 101 168 104" +
  "C173 107 174 111 171 114C169 115 166 116 165 117C170 118 174 122 172 126C170 130 163 131 164 137" +
  "C166 143 172 146 170 155C167 166 157 169 146 167C124 162 106 152 97 138L94 104";
const EAR =
  "M96 98C91 104 84 101 85 93C75 83 72 66 81 59C90 52 102 59 101 72M98 76C95 69 86 69 87 77C88 82 93 81 93 87";
const TRAGUS = { upper: [99, 74], middle: [98, 80], lower: [95, 87] };
const ALA = [166, 91];
const SKIN = { tip_and_chin: [184, 88], under_nose_and_chin: [167, 98] };
const CHIN = [171, 152];

/** Both lines from the front; `tilt` in degrees, + when the patient's right is lower. */
export function face(tilt, right, left) {
  return sheet(
    "face",
    path("d-line", "M61 4C56 58 58 104 74 134C86 156 104 172 120 172C136 172 154 156 166 134C182 104 184 58 179 4"),
    [92, 148].map((x) => [
      path("d-line", `M${x - 15} 54Q${x} 41 ${x + 15} 54Q${x} 64 ${x - 15} 54`),
      dot("d-ink", [x, 53], 4.5),
      path("d-soft", `M${x - 17} 36Q${x} 26 ${x + 17} 36`),
    ]),
    path("d-line", "M108 92C106 99 113 103 120 103C127 103 134 99 132 92"),
    path("d-cavity", "M92 122C108 114 132 114 148 122C136 142 104 142 92 122Z"),
    group(`rotate(${-tilt} 120 125)`, path("d-wax", "M101 115H139V127Q120 130 101 127Z")),
    path("d-line", "M90 122C104 111 114 110 120 114C126 110 136 111 150 122C136 118 104 118 90 122Z"),
    path("d-line", "M90 122C102 144 138 144 150 122C138 156 102 156 90 122Z"),
    line("d-reference", [32, 53], [208, 53]),
    line("d-faint", [32, 127], [208, 127]),
    group(`rotate(${-tilt} 120 127)`, line("d-value", [28, 127], [212, 127])),
    text(right, [2, 176], "start"),
    text(left, [238, 176], "end"),
  );
}

/** One side with its ala-tragus line and the plane of the rim; `tilt` + when the back is lower; null: no rim yet. */
export function side(which, edge, tilt) {
  const from = TRAGUS[edge] ?? TRAGUS.middle,
    slope = (Math.atan2(ALA[1] - from[1], ALA[0] - from[0]) * 180) / Math.PI;
  return sheet(
    "side",
    mirrored(which === "left", head(), [
      tilt !== null && [
        group(
          `rotate(${slope - tilt} 142 118)`,
          path("d-wax", "M122 104H162V118H122Z"),
          line("d-value", [88, 118], [196, 118]),
        ),
        group(`rotate(${slope} 142 118)`, line("d-faint", [88, 118], [196, 118])),
      ],
      line("d-reference", away(from, slope, -34), away(ALA, slope, 40)),
      dot("d-accent", from),
      dot("d-accent", ALA),
    ]),
  );
}

/** Where on the skin a height is read: nose and chin; `size` is its text. */
export function height(points, size = "") {
  const nose = SKIN[points] ?? SKIN.tip_and_chin;
  return sheet(
    "height",
    group("translate(-50)", [
      head(),
      line("d-faint", nose, [214, nose[1]]),
      line("d-faint", CHIN, [214, CHIN[1]]),
      measure([208, nose[1]], [208, CHIN[1]]),
      dot("d-mark", nose),
      dot("d-mark", CHIN),
    ]),
    text(size, [172, (nose[1] + CHIN[1]) / 2 + 6], "start"),
  );
}

const head = () => [
  path("d-line", PROFILE),
  path("d-soft", EAR),
  path("d-soft", "M134 52Q143 46 151 52M138 58Q144 62 150 57"),
  path("d-soft", "M166 88C161 86 158 92 162 96"),
];

/** Nose and upper lip in profile, the corner between them drawn at `angle` degrees; `said` is its text. */
export function nasolabial(angle, said = "") {
  const ends = [TO_NOSE, TO_NOSE + angle],
    [from, to] = ends.map((way) => away(CORNER, way, 26));
  return sheet(
    "profile",
    path("d-line", nose(away(CORNER, TO_NOSE, 62))),
    path("d-line", lips(away(CORNER, ends[1], 36))),
    path("d-soft", "M124 42C108 40 104 60 120 63"),
    ends.map((way, i) => line("d-reference", CORNER, away(CORNER, way, [102, 86][i]))),
    path("d-value", `M${from.join(" ")}A26 26 0 0 1 ${to.join(" ")}`),
    dot("d-accent", CORNER),
    text(said, away(away(CORNER, angle / 2 + TO_NOSE, 46), 0, 14)),
  );
}

const CORNER = [110, 68];
const TO_NOSE = -14; // degrees from level, up to the tip

const nose = ([x, y]) =>
  `M100 2C108 16 132 26 ${x - 2} ${y - 14}C${x + 8} ${y - 8} ${x + 6} ${y + 3} ${x - 6} ${y + 3}L${CORNER.join(" ")}`;

const lips = ([x, y]) =>
  `M${CORNER.join(" ")}L${x} ${y}C${x + 24} ${y + 2} ${x + 24} ${y + 20} ${x - 2} ${y + 22}` +
  `C${x + 22} ${y + 24} ${x + 22} ${y + 41} ${x} ${y + 45}C${x - 9} ${y + 53} ${x - 2} ${y + 60} ${x + 2} ${y + 74}`;
