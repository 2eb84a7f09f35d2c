// What the judge says of the step: word and shape, what it means, what to do, where that is known from. Read out when
// it changes.
import { h, watch } from "vue";
import { withdraw } from "tm_actions";
import { route } from "tm_route";
import { shape } from "tm_shapes";
import { desk, lamp, nameOf, row } from "tm_state";
import { isRequired, say, spec, verdictOf } from "tm_steps";
import { t, when, worded } from "tm_words";

const LEVELS = ["off", "unsure", "note"];

/**
 * Whether a finding is said on the present screen: a note stands at its own question, why something is stale
 * beside it.
 */
export const isSaid = (finding) =>
  !finding.code.startsWith("stale_") &&
  (finding.level !== "note" || !spec(finding.item) || finding.item === route.item);

export default {
  data: () => ({ all: false }),
  created() {
    watch(
      () => route.step,
      () => {
        this.all = false;
      },
    );
  },
  computed: {
    step() {
      return desk.verdict?.steps[route.step] ?? null;
    },
    verdict() {
      return verdictOf(route.step);
    },
    // Worst first, and what is about the question on the screen before the rest. Why something is stale stands beside
    // it.
    findings() {
      const order = (one) => LEVELS.indexOf(one.level) * 2 + (one.item === route.item ? 0 : 1);
      return (this.step?.findings ?? []).filter(isSaid).sort((a, b) => order(a) - order(b));
    },
  },
  methods: {
    said(finding) {
      return h("div", { key: finding.code + finding.item, class: ["finding", `level-${finding.level}`] }, [
        h("p", { class: "sentence" }, finding.text),
        h("p", { class: "advice" }, [finding.advice, finding.source && h("cite", { class: "source" }, finding.source)]),
      ]);
    },
    // A verdict is final only when the clinic holds nothing of this visit that is not here.
    elsewhere() {
      return lamp.sync.moreAtNode.includes(desk.visit)
        ? h("p", { class: "sentence" }, t("verdict.more_at_node"))
        : null;
    },
    empty() {
      if (!this.step) return h("p", { class: "sentence" }, lamp.judge.message ? worded(lamp.judge.message) : desk.problem || t("judge.loading"));
      const items = desk.sequence.steps
        .find((one) => one.id === route.step)
        .items.map((one) => one.id)
        .filter((id) => spec(id) && isRequired(id));
      const waiting = items.filter((id) => row(id).status !== "fresh").length;
      if (items.length && ["open", "stale"].includes(this.verdict))
        return h(
          "p",
          { class: "sentence" },
          t(this.verdict === "stale" ? "verdict.stale_left" : waiting > 1 ? "verdict.open_left" : "verdict.open_one", {
            waiting,
            of: items.length,
          }),
        );
      return this.findings.length
        ? null
        : h("p", { class: "sentence" }, t(items.length ? "verdict.nothing" : "verdict.guidance"));
    },
    accepted() {
      const given = this.step?.acceptance;
      if (!given || !given.holds) return null;
      return h("div", { class: "finding" }, [
        h(
          "p",
          { class: "sentence" },
          t("verdict.accepted_by", { reason: given.reason, name: nameOf(given.author), time: when(given.at) }),
        ),
        h("button", { type: "button", class: "secondary small", onClick: () => withdraw(route.step, given.id) }, [
          shape("undo"),
          t("verdict.take_back"),
        ]),
      ]);
    },
    // Where there is little room only the first sentence is shown; there the whole line opens the rest of it.
    more() {
      const others = this.findings.length - 1;
      if (others < 0) return null;
      return h(
        "button",
        {
          type: "button",
          class: ["quiet more", others < 1 && "is-alone"],
          "aria-expanded": String(this.all),
          onClick: () => {
            this.all = !this.all;
          },
        },
        t(this.all ? "verdict.fewer" : others < 1 ? "verdict.whole" : "verdict.more", { others }),
      );
    },
  },
  render() {
    return h(
      "section",
      {
        class: ["verdict", `is-${this.verdict}`, this.all && "shows-all"],
        "data-verdict": this.verdict,
        "aria-label": t("verdict.label"),
      },
      [
        h("p", { class: "word", role: "status", "aria-live": "polite" }, [
          shape(this.verdict),
          h("span", say(`verdict.${this.verdict}`)),
        ]),
        this.more(),
        h("div", { class: "findings", "aria-live": "polite" }, [
          this.elsewhere(),
          this.empty(),
          this.accepted(),
          ...this.findings.map(this.said),
        ]),
      ],
    );
  },
};
