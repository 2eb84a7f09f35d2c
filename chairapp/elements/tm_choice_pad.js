// Large answer buttons. Nothing is selected beforehand; an answer that has become stale is shown, and waits to be
// given again.
import { h } from "vue";
import { answer } from "tm_actions";
import { faultNote, shape } from "tm_shapes";
import { row } from "tm_state";
import { choiceText, label, spec } from "tm_steps";
import { t } from "tm_words";

export default {
  props: { item: String },
  data: () => ({ fault: null }),
  methods: {
    async pick(value) {
      const now = row(this.item);
      if (now.value !== value || now.status !== "fresh") this.fault = await answer(this.item, value);
    },
    button(value) {
      const now = row(this.item),
        given = now.value === value;
      const state = given ? (now.status === "fresh" ? "is-given" : "was-given") : "";
      return h(
        "button",
        {
          key: value,
          type: "button",
          class: ["choice", state],
          "data-value": value,
          "aria-pressed": String(state === "is-given"),
          onClick: () => this.pick(value),
        },
        [
          h("span", choiceText(this.item, value)),
          state === "is-given" && shape("done"),
          state === "was-given" && h("span", { class: "aside" }, t("choice.before")),
        ],
      );
    },
  },
  render() {
    return h("div", { class: "choices", role: "group", "aria-label": label(this.item) }, [
      ...spec(this.item).choices.map(this.button),
      faultNote(this.fault),
    ]);
  },
};
