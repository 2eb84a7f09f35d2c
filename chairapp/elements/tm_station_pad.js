// A number, or a mark, at each station: tap a place on the rim map, type, and the next place is offered. Each tap is
// kept.
import { h } from "vue";
import Keypad from "tm_keypad";
import RimMap from "tm_rim_map";
import { derived } from "tm_derived";
import { answer, inTurn } from "tm_actions";
import { href } from "tm_route";
import { desk, row } from "tm_state";
import { stationLooks, stationTexts } from "tm_station_values";
import { STATIONS, label, say, spec, stationText, unit } from "tm_steps";
import { faultNote } from "tm_shapes";
import { capital, num, t } from "tm_words";

const MARKED = "marks.placed",
  MISFIT = "marks.misfit";

export default {
  props: { item: String },
  data: () => ({ picked: null, fault: null }),
  computed: {
    it() {
      return spec(this.item);
    },
    given() {
      const now = row(this.item);
      return now.status === "stale" ? {} : (now.value ?? {});
    },
    open() {
      return this.item === MISFIT ? STATIONS.filter((s) => row(MARKED).value?.[s]) : STATIONS;
    },
    at() {
      return this.open.includes(this.picked)
        ? this.picked
        : (this.open.find((s) => !(s in this.given)) ?? this.open[0] ?? null);
    },
    values() {
      return stationTexts(this.item, this.given);
    },
    states() {
      return stationLooks(this.item, this.given);
    },
  },
  methods: {
    toggle(station) {
      const { [station]: was, ...others } = this.given;
      return this.keep(was ? others : { ...others, [station]: true });
    },
    async keep(value) {
      this.fault = await answer(this.item, Object.keys(value).length ? value : null);
      return this.fault;
    },
    async put(value) {
      const station = this.at,
        fault = await answer(this.item, { ...this.given, [station]: value });
      if (!fault) this.picked = this.after(station);
      return fault;
    },
    after(station) {
      const round = [...this.open.slice(this.open.indexOf(station) + 1), ...this.open];
      return round.find((s) => s !== station && !(s in this.given)) ?? round[0];
    },
    everywhere(value) {
      return this.keep(Object.fromEntries(this.open.map((s) => [s, value])));
    },
    map() {
      const marks = this.it.unit === null;
      return h("div", { class: "map-side" }, [
        h(RimMap, {
          label: label(this.item),
          values: this.values,
          states: this.states,
          selected: marks ? null : this.at,
          only: this.open,
          pick: marks
            ? (s) => inTurn(() => this.toggle(s))
            : (s) => {
                this.picked = s;
                this.$refs.keypad.focus();
              },
        }),
        this.it.all_stations &&
          this.usual() !== null &&
          h(
            "button",
            { type: "button", class: "secondary small everywhere", onClick: () => this.everywhere(this.usual()) },
            t("station.everywhere", { value: num(this.usual(), this.it.pad), unit: unit(this.item) }),
          ),
        derived(this.item),
        h("p", { class: "aside" }, say("caution.rim_map")),
      ]);
    },
    pad() {
      return [
        h(Keypad, {
          ref: "keypad",
          name: `${desk.visit}.${this.item}`,
          label: `${label(this.item)}, ${stationText(this.at)}`,
          unit: unit(this.item),
          caption: capital(stationText(this.at)),
          pad: this.it.pad,
          start: this.given[this.at] ?? this.it.start ?? undefined,
          negative: this.it.possible[0] < 0,
          action: t("station.keep"),
          take: this.put,
        }),
      ];
    },
    // What is offered for all places at once: touching for gaps, what was typed first for the rest.
    usual() {
      return this.it.band[1] === 0 ? 0 : (this.given[STATIONS.find((s) => s in this.given)] ?? null);
    },
  },
  render() {
    if (!this.open.length)
      return h("div", { class: "nothing" }, [
        h("p", t("station.no_marks")),
        h("a", { class: "secondary", href: href("walk", desk.visit, this.it.step, MARKED) }, t("station.to_marks")),
      ]);
    return h("div", { class: ["pad", "pad-map", this.it.unit === null && "pad-marks"] }, [
      this.map(),
      ...(this.it.unit === null ? [] : this.pad()),
      faultNote(this.fault),
    ]);
  },
};
