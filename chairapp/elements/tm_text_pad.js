// Free text. What is typed survives a reload; it counts once it is kept.
import { h } from "vue";
import { answer } from "tm_actions";
import { draft, setDraft } from "tm_draft";
import { faultNote } from "tm_shapes";
import { desk, nameOf, row } from "tm_state";
import { label } from "tm_steps";
import { t, time } from "tm_words";

export default {
  props: { item: String },
  data: () => ({ fault: null }),
  computed: {
    name() {
      return `${desk.visit}.${this.item}`;
    },
  },
  methods: {
    async keep() {
      this.fault = draft(this.name).trim()
        ? await answer(this.item, draft(this.name))
        : { why: t("text.empty"), do: "" };
      if (!this.fault) setDraft(this.name, "");
    },
  },
  render() {
    const now = row(this.item),
      text = draft(this.name);
    return h("div", { class: "text-pad" }, [
      h("textarea", {
        class: "text",
        rows: 3,
        value: text || now.value || "",
        "aria-label": label(this.item),
        onInput: (e) => setDraft(this.name, e.target.value),
      }),
      faultNote(this.fault),
      h("div", { class: "row" }, [
        h("button", { type: "button", class: "primary", onClick: this.keep }, t("text.keep")),
        now.value && h("p", { class: "aside" }, t("text.kept", { time: time(now.at), name: nameOf(now.author) })),
      ]),
    ]);
  },
};
