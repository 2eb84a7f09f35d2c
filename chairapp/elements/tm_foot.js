// The foot of the walk: the verdict between Back and Next. Where there is something to say it stands above them, over
// the whole width. The verdict is what it is given as its child.
import { h } from "vue";
import { href, route } from "tm_route";
import { isSaid } from "tm_finding_card";
import { shape } from "tm_shapes";
import { desk } from "tm_state";
import { asked, beside, firstWaiting, isWaxed, label, nextStep, spec, title, verdictOf } from "tm_steps";
import { t } from "tm_words";

export default {
  props: { steps: Array }, // [{id, screens: [item ids]}]
  methods: {
    back() {
      if (route.page === "change") return href("wax", desk.visit);
      if (route.page === "accept") return href("walk", desk.visit, route.step);
      const to = route.page === "walk" && beside(this.steps, route.step, route.item, -1);
      return to ? href("walk", desk.visit, ...to) : route.page === "walk" ? href() : href("walk", desk.visit);
    },
    next() {
      const to = route.page === "walk" ? beside(this.steps, route.step, route.item, 1) : this.again();
      if (!to && route.page !== "walk") return null;
      if (!to) return h("a", { class: "primary next", href: href() }, [h("span", t("walk.finish"))]);
      const name = to[0] === route.step ? (spec(to[1]) ? label(to[1]) : title(to[0])) : title(to[0]);
      return h("a", { class: "primary next", href: href("walk", desk.visit, ...to) }, [
        h("span", [
          h(
            "span",
            { class: "small" },
            t(verdictOf(to[0]) === "stale" && to[0] !== route.step ? "walk.again" : "walk.next"),
          ),
          name,
        ]),
        shape("next"),
      ]);
    },
    /** From the wax plan on: the first step that the wax made stale. */
    again() {
      const stale = nextStep(this.steps, "");
      return route.page === "wax" && verdictOf(stale) === "stale"
        ? [stale, firstWaiting(this.steps.find((one) => one.id === stale).screens.filter(asked))]
        : null;
    },
    /** What can be done about a verdict that is off or unsure. */
    ways() {
      if (!["off", "unsure"].includes(verdictOf(route.step))) return null;
      return h("div", { class: "ways" }, [
        isWaxed(route.step) &&
          h("a", { class: "secondary", href: href("wax", desk.visit) }, [shape("wax"), t("verdict.wax")]),
        h("a", { class: "secondary", href: href("accept", desk.visit, route.step) }, [
          shape("accepted"),
          t("verdict.accept"),
        ]),
      ]);
    },
  },
  render() {
    const plain = route.page !== "walk" || route.step === "review",
      verdict = verdictOf(route.step);
    const says = !plain && (desk.verdict?.steps[route.step]?.findings.some(isSaid) || verdict === "accepted");
    return h("footer", { class: ["decision", plain ? "is-plain" : `is-${verdict}`, says && "says"] }, [
      h("a", { class: "secondary back", href: this.back(), "aria-label": t("walk.back") }, [
        shape("back"),
        h("span", t("walk.back")),
      ]),
      plain ? h("div", { id: "tm-foot", class: "ways" }) : this.$slots.default(),
      !plain && this.ways(),
      this.next(),
    ]);
  },
};
