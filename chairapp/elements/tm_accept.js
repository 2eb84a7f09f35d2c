// Going on although a step is off or unsure: what is accepted, and the reason for it.
import { Teleport, h } from "vue";
import { accept } from "tm_actions";
import { draft, setDraft } from "tm_draft";
import { go, route } from "tm_route";
import { badge, faultNote } from "tm_shapes";
import { desk } from "tm_state";
import { say, title, verdictOf } from "tm_steps";
import { t } from "tm_words";

const OFFERED = ["accept.age", "accept.ridge", "accept.wish", "accept.best"];

export default {
  data: () => ({ fault: null }),
  computed: {
    name() {
      return `${desk.visit}.accept.${route.step}`;
    },
    findings() {
      return (desk.verdict?.steps[route.step]?.findings ?? []).filter((one) => one.level !== "note");
    },
  },
  methods: {
    async keep() {
      this.fault = draft(this.name).trim()
        ? await accept(route.step, draft(this.name).trim())
        : { why: t("accept.no_reason"), do: "" };
      if (this.fault) return;
      setDraft(this.name, "");
      go("walk", desk.visit, route.step);
    },
    /** The step fits by now, or waits for an answer: neither is for accepting. */
    nothing() {
      return h("section", { class: "sheet accept" }, [
        h("h1", { tabindex: -1 }, t("accept.nothing")),
        badge(verdictOf(route.step), say(`verdict.${verdictOf(route.step)}`)),
      ]);
    },
    reason(key) {
      return h(
        "button",
        { key, type: "button", class: "secondary small", onClick: () => setDraft(this.name, t(key)) },
        t(key),
      );
    },
  },
  render() {
    if (!["off", "unsure"].includes(verdictOf(route.step))) return this.nothing();
    return h("section", { class: "sheet accept" }, [
      h("p", { class: "eyebrow" }, [
        title(route.step),
        badge(verdictOf(route.step), say(`verdict.${verdictOf(route.step)}`)),
      ]),
      h("h1", { tabindex: -1 }, t("accept.question")),
      h(
        "ul",
        { class: "accepted-findings" },
        this.findings.map((one) => h("li", { key: one.code }, one.text)),
      ),
      h("p", { class: "hint" }, t("accept.hint")),
      h("textarea", {
        class: "text",
        rows: 2,
        value: draft(this.name),
        "aria-label": t("accept.reason"),
        onInput: (e) => setDraft(this.name, e.target.value),
      }),
      h("div", { class: "row wrap" }, OFFERED.map(this.reason)),
      faultNote(this.fault),
      h(Teleport, { to: "#tm-foot", defer: true }, [
        h("button", { type: "button", class: "primary accept-keep", onClick: this.keep }, t("accept.keep")),
      ]),
    ]);
  },
};
