// Both rims from above, the patient's right on the left of the picture. The one way to show or pick anything by
// station.
// The places are those of an average arch (sequence: Rim map); they are no measurement of the patient.
import { h } from "vue";
import { STATIONS, stationText } from "tm_steps";
import { capital, t } from "tm_words";

const MM = {
  molar_right: [-26, 52],
  premolar_right: [-22, 70],
  canine_right: [-17, 80],
  front: [0, 88],
  canine_left: [17, 80],
  premolar_left: [22, 70],
  molar_left: [26, 52],
};
const SPOT = {
  molar_right: [50, 52],
  premolar_right: [50, 144],
  canine_right: [50, 236],
  front: [200, 318],
  canine_left: [350, 236],
  premolar_left: [350, 144],
  molar_left: [350, 52],
};
const SCALE = 3.5,
  WIDTH = 400,
  HEIGHT = 352;

const place = ([x, y]) => [WIDTH / 2 + x * SCALE, (y - 38) * SCALE + 46];
const ARCH = [[-27.5, 42], ...STATIONS.map((s) => MM[s]), [27.5, 42]].map(place);

export default {
  props: {
    values: Object, // {station: text}
    states: Object, // {station: "fits" | "off" | "add" | "take" | ...}: looks of a station
    rim: String, // "upper" or "lower": only this one is drawn full
    selected: String,
    pick: Function, // (station); without it the map only shows
    only: Array, // stations that can be picked
    label: String,
  },
  render() {
    return h("div", { class: "rim-map", role: "group", "aria-label": this.label }, [
      h("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, "aria-hidden": "true" }, [
        ...rims(this.rim),
        ...STATIONS.map(this.leader),
        ...STATIONS.map(this.dot),
      ]),
      h("span", { class: "side side-right", "aria-hidden": "true" }, t("map.right")),
      h("span", { class: "side side-left", "aria-hidden": "true" }, t("map.left")),
      ...STATIONS.map(this.spot),
    ]);
  },
  methods: {
    look(station) {
      return [
        this.states?.[station] && `at-${this.states[station]}`,
        this.selected === station && "is-selected",
        this.shut(station) && "is-shut",
      ];
    },
    shut(station) {
      return this.only && !this.only.includes(station);
    },
    leader(station) {
      const [x, y] = place(MM[station]),
        [toX, toY] = SPOT[station];
      return h("path", { class: ["leader", this.look(station)], d: `M${x} ${y}L${toX} ${toY}` });
    },
    dot(station) {
      const [cx, cy] = place(MM[station]);
      return h("circle", { class: ["dot", this.look(station)], cx, cy, r: this.selected === station ? 11 : 8 });
    },
    spot(station) {
      const [x, y] = SPOT[station],
        value = this.values?.[station] ?? "";
      const inside = [
        h("span", { class: "where" }, t(`map.${station.split("_")[0]}`)),
        h("span", { class: "where in-full" }, capital(stationText(station))),
        value && h("span", { class: "value" }, value),
      ];
      const about = {
        key: station,
        "data-station": station,
        "aria-label": [stationText(station), value].filter(Boolean).join(": "),
        class: ["spot", this.look(station)],
        style: { left: `${(100 * x) / WIDTH}%`, top: `${(100 * y) / HEIGHT}%` },
      };
      if (!this.pick) return h("div", { ...about, role: "img" }, inside);
      return h(
        "button",
        {
          ...about,
          type: "button",
          disabled: this.shut(station),
          "aria-pressed": String(this.selected === station || this.states?.[station] === "marked"),
          onClick: () => this.pick(station),
        },
        inside,
      );
    },
  },
};

/** The lower rim inside the upper one; the one not asked about is only an outline. */
function rims(only) {
  const upper = smooth(ARCH),
    lower = smooth(ARCH.map(([x, y]) => [WIDTH / 2 + (x - WIDTH / 2) * 0.86, 40 + (y - 40) * 0.9]));
  const band = (d, rim) => h("path", { d, class: ["rim", `rim-${rim}`, only && only !== rim && "is-faint"] });
  return [band(upper, "upper"), band(lower, "lower")];
}

/** A smooth line through the points (Catmull-Rom as cubic curves). */
function smooth(points) {
  const at = (i) => points[Math.max(0, Math.min(points.length - 1, i))];
  return points.slice(1).reduce(
    (d, [x, y], i) => {
      const [ax, ay] = at(i - 1),
        [bx, by] = at(i),
        [dx, dy] = at(i + 2);
      return `${d}C${bx + (x - ax) / 6} ${by + (y - ay) / 6} ${x - (dx - bx) / 6} ${y - (dy - by) / 6} ${x} ${y}`;
    },
    `M${points[0].join(" ")}`,
  );
}
