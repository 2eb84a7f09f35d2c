// Notes on a step: free words that no question asks for. A wrong one is withdrawn.
import { h } from "vue";
import { note, withdraw } from "tm_actions";
import { draft, setDraft } from "tm_draft";
import { faultNote, shape } from "tm_shapes";
import { desk, nameOf } from "tm_state";
import { t, when } from "tm_words";

export default {
  props: { step: String },
  data: () => ({ open: false, fault: null }),
  computed: {
    name() {
      return `${desk.visit}.note.${this.step}`;
    },
    notes() {
      return (desk.state?.notes ?? []).filter((one) => one.step === this.step && !one.withdrawn);
    },
  },
  methods: {
    async keep() {
      this.fault = draft(this.name).trim()
        ? await note(this.step, draft(this.name).trim())
        : { why: t("note.empty"), do: "" };
      if (this.fault) return;
      setDraft(this.name, "");
      this.open = false;
    },
    field() {
      return [
        h("textarea", {
          class: "text",
          rows: 2,
          value: draft(this.name),
          "aria-label": t("note.text"),
          onInput: (e) => setDraft(this.name, e.target.value),
        }),
        faultNote(this.fault),
        h("button", { type: "button", class: "secondary small keep-note", onClick: this.keep }, t("note.keep")),
      ];
    },
    one(one) {
      return h("li", { key: one.id, class: "note" }, [
        h("span", [one.value, " ", h("span", { class: "aside" }, `${when(one.at)} · ${nameOf(one.author)}`)]),
        h(
          "button",
          {
            type: "button",
            class: "quiet",
            "aria-label": t("note.withdraw"),
            onClick: async () => {
              this.fault = await withdraw(this.step, one.id);
            },
          },
          [shape("cross")],
        ),
      ]);
    },
  },
  render() {
    const writing = this.open || draft(this.name);
    return h("div", { class: "notes" }, [
      this.notes.length > 0 && h("ul", this.notes.map(this.one)),
      ...(writing
        ? this.field()
        : [
            h(
              "button",
              {
                type: "button",
                class: "quiet add-note",
                onClick: () => {
                  this.open = true;
                },
              },
              [shape("plus"), t("note.add")],
            ),
          ]),
    ]);
  },
};
