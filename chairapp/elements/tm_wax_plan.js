// What wax to add or take off, on the rim map and in words; one tap when it was done so. Below it what was really done.
import { Teleport, h } from "vue";
import RimMap from "tm_rim_map";
import { adjust, withdraw } from "tm_actions";
import { setDraft } from "tm_draft";
import { history } from "tm_history";
import { go, href } from "tm_route";
import { faultNote, shape } from "tm_shapes";
import { desk, nameOf } from "tm_state";
import { STATIONS, changesText, faceText, label, say, stepOf, title } from "tm_steps";
import { listed, signed, t, when } from "tm_words";

const RIMS = ["upper", "lower"];

export default {
  data: () => ({ fault: null, busy: false }),
  computed: {
    plan() {
      return desk.verdict?.plan ?? null;
    },
    changes() {
      const height = RIMS.map((rim) => ({ rim, surface: "height", stations: nonzero(this.plan?.shown?.[rim]) }));
      const labial = RIMS.map((rim) => ({ rim, surface: "labial", stations: nonzero(this.plan?.labial?.[rim]) }));
      return [...height, ...labial].filter((one) => Object.keys(one.stations).length);
    },
    done() {
      return [...(desk.state?.adjustments ?? [])].reverse();
    },
  },
  methods: {
    async asPlanned() {
      if (this.busy) return;
      this.busy = true;
      this.fault = await adjust(this.changes).finally(() => {
        this.busy = false;
      });
    },
    edit(change) {
      setDraft(`${desk.visit}.change`, JSON.stringify(change));
      go("change", desk.visit);
    },
    map(change) {
      const values = Object.fromEntries(STATIONS.map((s) => [s, signed(change.stations[s] ?? 0, 0.5)]));
      const states = Object.fromEntries(Object.entries(change.stations).map(([s, mm]) => [s, mm > 0 ? "add" : "take"]));
      const name = faceText(change.rim, change.surface);
      return h("figure", { key: name, class: "plan-map" }, [
        h("figcaption", name),
        h(RimMap, { label: name, rim: change.rim, values, states }),
        h("button", { type: "button", class: "quiet", onClick: () => this.edit(change) }, t("plan.edit")),
      ]);
    },
    planned() {
      if (!this.plan) return [h("p", { class: "hint" }, t("judge.loading"))];
      return [
        h(
          "ul",
          { class: "plan-words" },
          this.plan.words.map((words, at) => h("li", { key: at }, words)),
        ),
        h("div", { class: "plan-maps" }, this.changes.map(this.map)),
        faultNote(this.fault),
        h(Teleport, { to: "#tm-foot", defer: true }, [
          h("a", { class: "secondary record-change", href: href("change", desk.visit) }, [
            shape("plus"),
            t("plan.other"),
          ]),
          this.changes.length > 0 &&
            h("button", { type: "button", class: "primary as-planned", onClick: this.asPlanned }, t("plan.done")),
        ]),
      ];
    },
    one(change) {
      const made = change.disturbs.length
        ? t("change.disturbs", { steps: listed([...new Set(change.disturbs.map(stepOf))].map(title)) })
        : "";
      return h("li", { key: change.id, class: ["change", change.withdrawn && "is-withdrawn"] }, [
        h("div", [
          h("p", { class: "what" }, [
            h("strong", faceText(change.rim, change.surface)),
            ` ${changesText(change.stations)}`,
          ]),
          h("p", { class: "aside" }, [
            `${when(change.at)} · ${nameOf(change.author)}. `,
            change.withdrawn ? t("change.undone") : made,
          ]),
        ]),
        !change.withdrawn &&
          h(
            "button",
            {
              type: "button",
              class: "secondary small",
              onClick: async () => {
                this.fault = await withdraw("wax", change.id);
              },
            },
            [shape("undo"), t("change.undo")],
          ),
      ]);
    },
    /** What each value was before the changes and is after them. */
    values() {
      const items = desk.sequence.steps.flatMap((step) => step.items.map((item) => item.id));
      const past = items.map((item) => [item, history(item)]).filter(([, line]) => line);
      if (!past.length) return null;
      return h("section", { class: "review-part" }, [
        h("h2", t("history.title")),
        h(
          "dl",
          { class: "values" },
          past.map(([item, line]) => h("div", { key: item }, [h("dt", label(item)), h("dd", line)])),
        ),
      ]);
    },
  },
  render() {
    return h("section", { class: "sheet wax-plan" }, [
      h("h1", { tabindex: -1 }, t("plan.title")),
      h("div", { class: "plan" }, this.planned()),
      h("p", { class: "caution" }, [shape("alert"), h("span", say("caution.hot_wax"))]),
      h("h2", t("change.list")),
      this.done.length
        ? h("ol", { class: "changes" }, this.done.map(this.one))
        : h("p", { class: "hint" }, t("change.none")),
      this.values(),
      h("p", { class: "aside" }, say("caution.rim_map")),
    ]);
  },
};

const nonzero = (stations = {}) => Object.fromEntries(Object.entries(stations).filter(([, mm]) => mm !== 0));
