// Words for the patient to read aloud, large, in the language of the visit, and how often they were said. The count
// helps at the chair: it is no finding and is not kept with the visit.
import { h } from "vue";
import { draft, setDraft } from "tm_draft";
import { shape } from "tm_shapes";
import { desk } from "tm_state";
import { say } from "tm_steps";
import { t } from "tm_words";

export default {
  props: { prompt: String },
  computed: {
    name() {
      return `${desk.visit}.said.${this.prompt}`;
    },
    times() {
      return Number(draft(this.name) || 0);
    },
  },
  methods: {
    counter() {
      const more = () => setDraft(this.name, String(this.times + 1));
      return h("button", { type: "button", class: "secondary said-aloud", onClick: more }, [
        h("span", t("aloud.said")),
        h("strong", { class: "times", "aria-live": "polite" }, t("aloud.times", { times: this.times })),
      ]);
    },
  },
  render() {
    return h("blockquote", { class: "aloud" }, [
      h("p", { class: "aloud-label" }, [shape("speak"), t("question.aloud")]),
      h("p", { class: "aloud-words", lang: desk.language }, say(`prompt.${this.prompt}`)),
      this.counter(),
    ]);
  },
};
