// One number; the latest counts, the one before stays in the trail.
import { h } from "vue";
import Keypad from "tm_keypad";
import { derived } from "tm_derived";
import { answer } from "tm_actions";
import { shape } from "tm_shapes";
import { desk, nameOf, row } from "tm_state";
import { label, spec, unit, valueText } from "tm_steps";
import { num, t, time } from "tm_words";

export default {
  props: { item: String },
  methods: {
    kept() {
      const now = row(this.item);
      if (now.value === null) return h("p", { class: "aside" }, t("number.not_given"));
      return h("div", { class: ["reading", now.status !== "fresh" && "is-stale"] }, [
        h("span", { class: "figure" }, valueText(this.item, now.value, num)),
        h("span", { class: "aside" }, `${time(now.at)} · ${nameOf(now.author)}`),
        h(
          "button",
          { type: "button", class: "quiet", "aria-label": t("number.clear"), onClick: () => answer(this.item, null) },
          [shape("cross")],
        ),
      ]);
    },
  },
  render() {
    const it = spec(this.item),
      now = row(this.item);
    return h("div", { class: "pad" }, [
      h(Keypad, {
        name: `${desk.visit}.${this.item}`,
        label: label(this.item),
        unit: unit(this.item),
        pad: it.pad,
        start: now.value ?? it.start ?? undefined,
        negative: it.possible[0] < 0,
        action: t("number.keep"),
        take: (value) => answer(this.item, value),
      }),
      h("div", { class: "side-panel" }, [this.kept(), derived(this.item)]),
    ]);
  },
};
