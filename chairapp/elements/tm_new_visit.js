// A new visit: at which chair, in which language. The box code is made here, on the tablet, from no name and no number
// of a patient.
import { h } from "vue";
import { openVisit } from "tm_actions";
import { languageName } from "tm_language";
import { go, href } from "tm_route";
import { faultNote, shape } from "tm_shapes";
import { desk } from "tm_state";
import { chairName, t } from "tm_words";

export default {
  data: () => ({ chair: null, language: null, fault: null, busy: false }),
  computed: {
    /** The tablet's own language until another is tapped. */
    spoken() {
      return this.language ?? desk.language;
    },
  },
  methods: {
    async open() {
      if (!this.chair) this.fault = { why: t("new.no_chair"), do: "" };
      if (this.busy || !this.chair) return;
      this.busy = true;
      const made = await openVisit({ chair: this.chair, language: this.spoken }).finally(() => {
        this.busy = false;
      });
      if (made.visit) go("walk", made.visit);
      else this.fault = made;
    },
    pick(name, options, chosen, text) {
      return h(
        "div",
        { class: "choices is-list", role: "group", "aria-label": t(`new.${name}`) },
        options.map((one) =>
          h(
            "button",
            {
              key: one,
              type: "button",
              class: ["choice", chosen === one && "is-given"],
              "data-value": one,
              "aria-pressed": String(chosen === one),
              onClick: () => {
                this[name] = one;
                this.fault = null;
              },
            },
            [h("span", { lang: name === "language" ? one : null }, text(one)), chosen === one && shape("done")],
          ),
        ),
      );
    },
  },
  render() {
    return h("main", { class: "sheet new" }, [
      h("h1", { tabindex: -1 }, t("new.question")),
      this.pick("chair", desk.clinic?.chairs ?? [], this.chair, chairName),
      desk.languages.length > 1 && h("h2", t("new.which_language")),
      desk.languages.length > 1 && this.pick("language", desk.languages, this.spoken, languageName),
      faultNote(this.fault),
      h("div", { class: "row" }, [
        h("a", { class: "secondary back", href: href() }, [shape("back"), t("walk.back")]),
        h("button", { type: "button", class: "primary open-visit", onClick: this.open }, t("new.open")),
      ]),
    ]);
  },
};
