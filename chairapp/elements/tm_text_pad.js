// Free text. What is typed survives a reload; it counts once it is kept.
import { h } from "vue";
import { answer } from "tm_actions";
import { draft, setDraft } from "tm_draft";
import { shape } from "tm_shapes";
import { desk, nameOf, row } from "tm_state";
import { label } from "tm_steps";
import { t, time } from "tm_words";

export default {
  props: { item: String },
  data: () => ({ fault: null }),
  computed: { name() { return `${desk.visit}.${this.item}`; } },
  methods: {
    async keep() {
      this.fault = await answer(this.item, draft(this.name));
      if (!this.fault) setDraft(this.name, "");
    },
  },
  render() {
    const now = row(this.item), text = draft(this.name);
    return h("div", { class: "text-pad" }, [
      h("textarea", { class: "text", rows: 3, value: text || now.value || "", "aria-label": label(this.item), onInput: (e) => setDraft(this.name, e.target.value) }),
      this.fault && h("p", { class: "fault", role: "alert" }, [shape("alert"), `${this.fault.why} ${this.fault.do}`]),
      h("div", { class: "row" }, [
        h("button", { type: "button", class: "primary", disabled: !text || text === now.value, onClick: this.keep }, t("text.keep")),
        now.value && h("p", { class: "aside" }, t("text.kept", { time: time(now.at), name: nameOf(now.author) })),
      ]),
    ]);
  },
};
