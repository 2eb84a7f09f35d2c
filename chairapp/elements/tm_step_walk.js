// The frame of one visit: the rail of its steps, the screen that is open, and below it the verdict between Back and
// Next.
import { h, nextTick, watch } from "vue";
import Foot from "tm_foot";
import Rail from "tm_rail";
import { href, replace, route } from "tm_route";
import { shape } from "tm_shapes";
import { desk } from "tm_state";
import { asked, firstWaiting, nextStep } from "tm_steps";
import { t } from "tm_words";

export default {
  props: { steps: Array }, // [{id, screens: [item ids]}]
  created() {
    watch(() => [route.page, route.step, route.item, desk.loaded], this.arrive, { immediate: true });
    watch(
      () => [route.page, route.step, route.item],
      () => nextTick(this.settle),
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
      h(Rail, { steps: this.steps }),
      h("main", { class: "pane", ref: "pane" }, [
        desk.problem && h("p", { class: "fault", role: "alert" }, [shape("alert"), h("span", desk.problem)]),
        this.screen(kids),
      ]),
      h(Foot, { steps: this.steps }, () => kids.find((kid) => kid.props["data-page"] === "finding")),
    ]);
  },
};
