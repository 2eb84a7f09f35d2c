// One question: its heading, how to measure, words to read aloud, cautions, why it is stale, what it was before, and
// its pad, with a drawing beside it where there is room.
import { h } from "vue";
import Aloud from "tm_aloud";
import { answer } from "tm_actions";
import { drawing } from "tm_drawings";
import { history } from "tm_history";
import { shape } from "tm_shapes";
import { nameOf, row } from "tm_state";
import { isRequired, label, say, spec } from "tm_steps";
import { t, time } from "tm_words";

const CLEARED = ["choice", "stations", "list"]; // kinds whose answer has no other way back to none

export default {
  props: { item: String },
  computed: {
    it() {
      return spec(this.item);
    },
    now() {
      return row(this.item);
    },
  },
  methods: {
    why() {
      const by = this.now.stale_by;
      if (this.now.status !== "stale") return null;
      const about = by && {
        name: nameOf(by.author),
        time: time(by.at),
        cause: by.item === "wax" ? "" : label(by.item),
        rim: say(`rim.${by.rim}`),
        surface: say(`surface.${by.surface}`),
      };
      const text = !by
        ? t("stale.plain")
        : by.kind === "answer"
          ? t("stale.answer", about)
          : t(by.unaware ? "stale.unaware" : "stale.wax", about);
      return h("p", { class: "stale-note" }, [shape("stale"), h("span", text)]);
    },
    history() {
      const past = history(this.item);
      return past && h("p", { class: "history" }, t("history.was", { past }));
    },
    given() {
      const { it, now } = this;
      if (!CLEARED.includes(it.kind) || now.value === null || now.status !== "fresh") return null;
      return h("p", { class: "aside" }, t("text.kept", { time: time(now.at), name: nameOf(now.author) }));
    },
    clear() {
      const { it, now } = this;
      const given = CLEARED.includes(it.kind) ? now.value !== null : now.value === "looks_parallel";
      if (!given || now.status !== "fresh") return null;
      return h("button", { type: "button", class: "quiet clear", onClick: () => answer(this.item, null) }, [
        shape("undo"),
        t("question.clear"),
      ]);
    },
    heading() {
      return h("h1", { tabindex: -1 }, [
        say(`item.${this.item}.question`),
        !isRequired(this.item) &&
          h("span", { class: "optional" }, t(this.it.guidance ? "question.guidance" : "question.optional")),
      ]);
    },
    aside() {
      const hint = say(`item.${this.item}.hint`);
      return [
        hint && h("p", { class: "hint" }, hint),
        this.it.prompt && h(Aloud, { prompt: this.it.prompt }),
        ...this.it.cautions.map((key) =>
          h("p", { key, class: "caution" }, [shape("alert"), h("span", say(`caution.${key}`))]),
        ),
      ];
    },
  },
  render() {
    const picture = drawing(this.item),
      isChoice = this.it.kind === "choice";
    return h(
      "section",
      {
        class: ["question", `kind-${this.it.kind}`, this.now.status === "stale" && "is-stale"],
        "data-item": this.item,
      },
      [
        h("div", { class: "question-head" }, [
          h("div", { class: "question-words" }, [this.heading(), ...this.aside(), this.why()]),
          !isChoice && picture,
        ]),
        h("div", { class: "question-body" }, [this.$slots.default(), isChoice && picture]),
        h("div", { class: "row under" }, [this.history(), this.given(), this.clear()]),
      ],
    );
  },
};
