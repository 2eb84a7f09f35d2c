// One step: the way through its questions, and the one that is open.
import { h } from "vue";
import { href, route } from "tm_route";
import { shape } from "tm_shapes";
import { desk, row } from "tm_state";
import StepNotes from "tm_step_notes";
import { asked, cautions, isClinicalStep, label, say, spec, stepAt, title } from "tm_steps";
import { t } from "tm_words";

export default {
  props: { step: String },
  methods: {
    pip(item, at) {
      const here = item === route.item,
        status = spec(item) ? row(item).status : "open";
      const name = spec(item) ? label(item) : title(this.step),
        word = t(`pip.${status}`);
      return h(
        "li",
        h(
          "a",
          {
            key: item,
            href: href("walk", desk.visit, this.step, item),
            class: ["pip", `pip-${status}`, here && "is-here"],
            "aria-current": here ? "step" : undefined,
            "aria-label": spec(item) ? `${name}: ${word}` : name,
          },
          [
            status === "fresh"
              ? shape("done")
              : status === "stale"
                ? shape("stale")
                : h("span", { class: "count" }, at + 1),
          ],
        ),
      );
    },
  },
  render() {
    const kids = this.$slots.default().filter((kid) => asked(kid.props.item));
    const shown = kids.find((kid) => kid.props.item === route.item) ?? kids[0];
    return h("section", { class: "step", "data-step": this.step }, [
      h("header", { class: "step-head" }, [
        h("p", { class: "step-title" }, [h("span", { class: "number" }, stepAt(this.step) + 1), title(this.step)]),
        kids.length > 1 &&
          h(
            "ol",
            { class: "pips", "aria-label": t("step.questions") },
            kids.map((kid, at) => this.pip(kid.props.item, at)),
          ),
      ]),
      shown === kids[0] && h("p", { class: "about" }, say(`step.${this.step}.about`)),
      shown,
      shown === kids[0] &&
        cautions(this.step).map((key) =>
          h("p", { key, class: "caution" }, [shape("alert"), h("span", say(`caution.${key}`))]),
        ),
      isClinicalStep(this.step) && h(StepNotes, { step: this.step, key: `notes-${this.step}` }),
    ]);
  },
};
