// What was really done to the wax: which rim, which face, added or taken off, and how much at each place.
import { Teleport, h } from "vue";
import Keypad from "tm_keypad";
import RimMap from "tm_rim_map";
import { adjust } from "tm_actions";
import { draft, setDraft } from "tm_draft";
import { go } from "tm_route";
import { faultNote, shape } from "tm_shapes";
import { desk } from "tm_state";
import { STATIONS, say, stationText } from "tm_steps";
import { capital, signed, t } from "tm_words";

const MOLARS = ["molar_right", "molar_left"];
const EMPTY = { rim: null, surface: null, way: null, stations: {} };

export default {
  data: () => ({ picked: null, fault: null }),
  computed: {
    name() {
      return `${desk.visit}.change`;
    },
    change() {
      return { ...EMPTY, ...JSON.parse(draft(this.name) || "{}") };
    },
    open() {
      return this.change.surface === "base" ? MOLARS : STATIONS;
    },
    at() {
      return this.open.includes(this.picked) ? this.picked : this.open[0];
    },
    way() {
      return this.change.surface === "base" ? "take" : this.change.way;
    },
    whole() {
      return this.change.rim && this.change.surface && Object.keys(this.change.stations).length > 0;
    },
  },
  methods: {
    set(part) {
      this.fault = null;
      setDraft(this.name, JSON.stringify({ ...this.change, ...part }));
    },
    surface(surface) {
      this.set({ surface, stations: {} });
    },
    put(value) {
      if (typeof value === "number" && !this.way) return { why: t("change.no_way"), do: "" };
      const mm = typeof value === "number" ? (this.way === "take" ? -1 : 1) * Math.abs(value) : value;
      if (typeof mm !== "number") return { why: t("change.no_number", { given: mm }), do: "" };
      const { [this.at]: was, ...others } = this.change.stations;
      this.set({ stations: mm === 0 ? others : { ...others, [this.at]: mm } });
      this.picked = this.open[Math.min(this.open.length - 1, this.open.indexOf(this.at) + 1)];
      return null;
    },
    async record() {
      this.fault = this.whole ? await adjust([this.change]) : { why: t("change.not_whole"), do: "" };
      if (this.fault) return;
      setDraft(this.name, "");
      go("wax", desk.visit);
    },
    group(name, options, chosen, pick) {
      return h(
        "div",
        { class: ["segment", `segment-${name}`], role: "group", "aria-label": t(`change.${name}`) },
        options.map(([value, text]) =>
          h(
            "button",
            {
              key: value,
              type: "button",
              class: ["choice", chosen === value && "is-given"],
              "data-value": value,
              "aria-pressed": String(chosen === value),
              onClick: () => pick(value),
            },
            [h("span", text), chosen === value && shape("done")],
          ),
        ),
      );
    },
    groups() {
      const { rim, surface } = this.change;
      return [
        this.group(
          "rim",
          ["upper", "lower"].map((one) => [one, capital(say(`rim.${one}`))]),
          rim,
          (value) => this.set({ rim: value }),
        ),
        surface !== "base" &&
          this.group(
            "way",
            [
              ["add", t("change.add")],
              ["take", t("change.take")],
            ],
            this.way,
            (value) => this.set({ way: value }),
          ),
        this.group(
          "surface",
          ["height", "labial", "base"].map((one) => [one, capital(say(`surface.${one}`))]),
          surface,
          this.surface,
        ),
      ];
    },
    places() {
      const { stations, rim, surface } = this.change;
      if (!rim || !surface || !(this.way || this.whole)) return [];
      const values = Object.fromEntries(Object.entries(stations).map(([s, mm]) => [s, signed(mm, 0.5)]));
      const states = Object.fromEntries(Object.entries(stations).map(([s, mm]) => [s, mm > 0 ? "add" : "take"]));
      return [
        h("div", { class: "pad pad-map" }, [
          h(
            "div",
            { class: "map-side" },
            h(RimMap, {
              label: t("change.where"),
              rim,
              values,
              states,
              selected: this.at,
              only: this.open,
              pick: (s) => {
                this.picked = s;
              },
            }),
          ),
          h(Keypad, {
            name: `${this.name}.mm`,
            label: `${this.way ? t(`change.${this.way}`) : t("change.where")}, ${stationText(this.at)}`,
            unit: say("unit.mm"),
            caption: capital(stationText(this.at)),
            pad: 0.5,
            start: Math.abs(stations[this.at] ?? 0),
            negative: false,
            action: t("change.put"),
            take: this.put,
          }),
        ]),
      ];
    },
  },
  render() {
    return h("section", { class: "sheet adjust" }, [
      h("h1", { tabindex: -1 }, t("change.question")),
      h("div", { class: "segments" }, this.groups()),
      ...this.places(),
      faultNote(this.fault),
      h(Teleport, { to: "#tm-foot", defer: true }, [
        h("button", { type: "button", class: "primary record", onClick: this.record }, t("change.record")),
      ]),
    ]);
  },
};
