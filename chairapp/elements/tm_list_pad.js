// Any number of things out of a list. Each tap is kept.
import { h } from "vue";
import { answer, inTurn } from "tm_actions";
import { faultNote, shape } from "tm_shapes";
import { row } from "tm_state";
import { choiceText, label, spec } from "tm_steps";

export default {
  props: { item: String },
  data: () => ({ fault: null }),
  methods: {
    async toggle(value) {
      const now = row(this.item).value ?? [],
        wanted = now.includes(value) ? now.filter((one) => one !== value) : [...now, value];
      this.fault = await answer(
        this.item,
        spec(this.item).choices.filter((one) => wanted.includes(one)),
      );
    },
    button(value) {
      const given = (row(this.item).value ?? []).includes(value);
      return h(
        "button",
        {
          key: value,
          type: "button",
          class: ["choice", "tick", given && "is-given"],
          "data-value": value,
          "aria-pressed": String(given),
          onClick: () => inTurn(() => this.toggle(value)),
        },
        [h("span", choiceText(this.item, value)), h("span", { class: "box" }, [given && shape("done")])],
      );
    },
  },
  render() {
    return h("div", { class: "choices is-list", role: "group", "aria-label": label(this.item) }, [
      ...spec(this.item).choices.map(this.button),
      faultNote(this.fault),
    ]);
  },
};
