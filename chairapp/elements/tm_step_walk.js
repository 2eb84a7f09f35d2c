// The frame of one visit: the rail of its steps, the screen that is open, and below it the verdict between Back and
// Next.
import { h, nextTick, watch } from "vue";
import { href, replace, route } from "tm_route";
import { isSaid } from "tm_finding_card";
import { shape } from "tm_shapes";
import { desk } from "tm_state";
import { asked, beside, firstWaiting, isWaxed, label, nextStep, say, spec, stepAt, title, verdictOf } from "tm_steps";
import { t } from "tm_words";

export default {
  props: { steps: Array }, // [{id, screens: [item ids]}]
  data: () => ({ open: false }),
  created() {
    watch(() => [route.page, route.step, route.item, desk.loaded], this.arrive, { immediate: true });
    watch(
      () => [route.page, route.step, route.item],
      () => {
        this.open = false;
        nextTick(this.settle);
      },
    );
  },
  methods: {
    /** A visit opened without a step goes to the one that waits; a step without an item to its first open question. */
    arrive() {
      if (route.page !== "walk" || !desk.loaded || !desk.sequence || !route.visit) return;
      const known = this.steps.find((one) => one.id === route.step);
      if (!known) return replace("walk", route.visit, nextStep(this.steps, "") ?? this.steps[0].id);
      if (!known.screens.includes(route.item))
        replace("walk", route.visit, known.id, firstWaiting(known.screens.filter(asked)));
    },
    settle() {
      this.$refs.pane?.scrollTo(0, 0);
      if (!this.$el.querySelector?.(".field input")) this.$el.querySelector?.("h1")?.focus({ preventScroll: true });
      this.$el.querySelector?.(".rail .is-here")?.scrollIntoView({ block: "nearest" });
    },
    rail() {
      const proposed = nextStep(this.steps, "");
      return h("nav", { class: ["rail", this.open && "is-open"], "aria-label": t("rail.label") }, [
        h(
          "ol",
          this.steps.map(({ id }) =>
            h(
              "li",
              { key: id },
              h(
                "a",
                {
                  href: href("walk", desk.visit, id),
                  class: [
                    "stop",
                    `is-${verdictOf(id)}`,
                    id === route.step && "is-here",
                    id === proposed && "is-proposed",
                  ],
                  "aria-current": id === route.step ? "step" : undefined,
                  "data-step": id,
                  onClick: () => {
                    this.open = false;
                  },
                },
                [
                  shape(verdictOf(id)),
                  h("span", { class: "title" }, title(id)),
                  h("span", { class: "word" }, id === "review" ? "" : say(`verdict.${verdictOf(id)}`)),
                ],
              ),
            ),
          ),
        ),
        h(
          "a",
          {
            class: ["stop", "wax", ["wax", "change"].includes(route.page) && "is-here"],
            href: href("wax", desk.visit),
          },
          [shape("wax"), h("span", { class: "title" }, t("rail.wax"))],
        ),
      ]);
    },
    bar() {
      const name = route.step ? `${stepAt(route.step) + 1} · ${title(route.step)}` : t("rail.wax");
      return h(
        "button",
        {
          type: "button",
          class: "rail-bar",
          "aria-expanded": String(this.open),
          onClick: () => {
            this.open = !this.open;
          },
        },
        [
          route.step ? shape(verdictOf(route.step)) : shape("wax"),
          h("span", { class: "title" }, name),
          h("span", { class: "word" }, t("rail.all")),
          shape("down"),
        ],
      );
    },
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
    /** Back, the verdict, Next. Where there is something to say it stands above them, over the whole width. */
    foot(card) {
      const plain = route.page !== "walk" || route.step === "review",
        verdict = verdictOf(route.step);
      const says = !plain && (desk.verdict?.steps[route.step]?.findings.some(isSaid) || verdict === "accepted");
      return h("footer", { class: ["decision", plain ? "is-plain" : `is-${verdict}`, says && "says"] }, [
        h("a", { class: "secondary back", href: this.back(), "aria-label": t("walk.back") }, [
          shape("back"),
          h("span", t("walk.back")),
        ]),
        plain ? h("div", { id: "tm-foot", class: "ways" }) : card,
        !plain && this.ways(),
        this.next(),
      ]);
    },
    screen(kids) {
      if (route.page === "walk") return kids.find((kid) => kid.props.step === route.step);
      return kids.find((kid) => kid.props["data-page"] === route.page);
    },
  },
  render() {
    if (desk.missing)
      return h("main", { class: "message" }, [
        h("h1", { tabindex: -1 }, t("visit.missing")),
        h("p", t("visit.missing_do")),
        h("a", { class: "secondary", href: href() }, t("visit.back")),
      ]);
    if (!desk.loaded || !desk.sequence)
      return h("main", { class: "message", "aria-busy": "true" }, h("p", t("visit.loading")));
    const kids = this.$slots.default();
    return h("div", { class: "walk" }, [
      this.bar(),
      this.rail(),
      h("main", { class: "pane", ref: "pane" }, [
        desk.problem && h("p", { class: "fault", role: "alert" }, [shape("alert"), h("span", desk.problem)]),
        this.screen(kids),
      ]),
      this.foot(kids.find((kid) => kid.props["data-page"] === "finding")),
    ]);
  },
};
