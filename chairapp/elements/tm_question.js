// One question: its heading, how to measure, words to read aloud, cautions, why it is stale, what it was before, and
// its pad, with a drawing beside it where there is room.
import { h } from "vue";
import { answer } from "tm_actions";
import { drawing } from "tm_drawings";
import { shape } from "tm_shapes";
import { nameOf, row } from "tm_state";
import { choiceText, isRequired, label, say, spec, unit } from "tm_steps";
import { rounded, t, time } from "tm_words";

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
      const { it, now } = this;
      if (!now.rounds.length || it.kind === "stations" || it.kind === "text" || it.kind === "list") return null;
      const mean = (values) =>
        typeof values[0] === "number" ? values.reduce((sum, x) => sum + x, 0) / values.length : values[0];
      const word = (value) => (typeof value === "number" ? rounded(value, it.pad) : choiceText(this.item, value));
      const rounds = now.rounds.filter((values) => values.length).map((values) => word(mean(values)));
      const present = now.readings.length
        ? [word(mean(now.readings.map((one) => one.value)))]
        : now.status === "fresh" && now.value !== null
          ? [word(now.value)]
          : [];
      return h(
        "p",
        { class: "history" },
        t("history.rounds", { rounds: [...rounds, ...present].join(" → "), unit: unit(this.item) }),
      );
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
      const prompt = this.it.prompt && say(`prompt.${this.it.prompt}`),
        hint = say(`item.${this.item}.hint`);
      return [
        hint && h("p", { class: "hint" }, hint),
        prompt &&
          h("blockquote", { class: "aloud" }, [
            h("span", { class: "aloud-label" }, [shape("speak"), t("question.aloud")]),
            prompt,
          ]),
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
