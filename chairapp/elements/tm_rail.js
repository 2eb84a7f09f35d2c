// The rail of the steps with their verdicts, and the bar that opens it where there is no room for it. A leaf of its
// own, as the foot is: an entry draws these anew, and not the walk around them.
import { h, watch } from "vue";
import { href, route } from "tm_route";
import { shape } from "tm_shapes";
import { desk } from "tm_state";
import { nextStep, say, stepAt, title, verdictOf } from "tm_steps";
import { t } from "tm_words";

export default {
  props: { steps: Array }, // [{id, screens: [item ids]}]
  data: () => ({ open: false }),
  created() {
    watch(
      () => [route.page, route.step, route.item],
      () => {
        this.open = false;
      },
    );
  },
  methods: {
    stop(id, proposed) {
      const verdict = verdictOf(id),
        looks = ["stop", `is-${verdict}`, id === route.step && "is-here", id === proposed && "is-proposed"];
      const about = {
        href: href("walk", desk.visit, id),
        class: looks,
        "aria-current": id === route.step ? "step" : undefined,
        "data-step": id,
        onClick: () => {
          this.open = false;
        },
      };
      return h("li", { key: id }, [
        h("a", about, [
          shape(verdict),
          h("span", { class: "title" }, title(id)),
          h("span", { class: "word" }, id === "review" ? "" : say(`verdict.${verdict}`)),
        ]),
      ]);
    },
    rail() {
      const proposed = nextStep(this.steps, "");
      return h("nav", { class: ["rail", this.open && "is-open"], "aria-label": t("rail.label") }, [
        h(
          "ol",
          this.steps.map(({ id }) => this.stop(id, proposed)),
        ),
        h(
          "a",
          {
            class: ["stop", "wax", ["wax", "change"].includes(route.page) && "is-here"],
            href: href("wax", desk.visit),
          },
          [shape("wax"), h("span", { class: "title" }, t("rail.wax"))],
        ),
      ]);
    },
    bar() {
      const name = route.step ? `${stepAt(route.step) + 1} · ${title(route.step)}` : t("rail.wax");
      return h(
        "button",
        {
          type: "button",
          class: "rail-bar",
          "aria-expanded": String(this.open),
          onClick: () => {
            this.open = !this.open;
          },
        },
        [
          route.step ? shape(verdictOf(route.step)) : shape("wax"),
          h("span", { class: "title" }, name),
          h("span", { class: "word" }, t("rail.all")),
          shape("down"),
        ],
      );
    },
  },
  render() {
    return [this.bar(), this.rail()];
  },
};
