// The box code, large enough to be read across the room, and what the label will say.
import { h } from "vue";
import { shownCode } from "tm_box_code";
import { href } from "tm_route";
import { shape } from "tm_shapes";
import { desk, opening, row } from "tm_state";
import { choiceText } from "tm_steps";
import { num, t } from "tm_words";

export default {
  computed: {
    signed() {
      return Boolean(desk.state?.signed);
    },
    /** What stands against it. */
    missing() {
      const made = desk.state?.signatures ?? [];
      if (made.some((one) => one.valid)) return "box.second";
      return made.length ? "box.changed" : "box.unsigned";
    },
  },
  methods: {
    label() {
      if (this.signed) return h("p", { class: "label-state is-fits" }, [shape("fits"), h("span", t("box.ready"))]);
      return h("p", { class: "label-state is-off" }, [
        shape("off"),
        h("span", t(this.missing)),
        h("a", { class: "secondary small", href: href("walk", desk.visit, "review") }, t("box.review")),
      ]);
    },
    disinfected() {
      const agent = row("packing.agent").value,
        minutes = row("packing.minutes").value;
      if (!agent) return h("p", { class: "caution" }, [shape("alert"), h("span", t("box.not_disinfected"))]);
      return h(
        "p",
        t(minutes === null ? "box.disinfected" : "box.disinfected_for", {
          agent: choiceText("packing.agent", agent),
          minutes: num(minutes, 1),
        }),
      );
    },
    contents() {
      const items = row("packing.items").value ?? [];
      return items.length
        ? h(
            "ul",
            { class: "contents" },
            items.map((one) => h("li", { key: one }, choiceText("packing.items", one))),
          )
        : h("p", { class: "hint" }, t("box.empty"));
    },
  },
  render() {
    return h("section", { class: "question case-box" }, [
      h("h1", { tabindex: -1 }, t("box.title")),
      h(
        "p",
        { class: "box-code", "aria-label": shownCode(opening().value.box).split("").join(" ") },
        shownCode(opening().value.box),
      ),
      this.label(),
      this.contents(),
      this.disinfected(),
    ]);
  },
};
