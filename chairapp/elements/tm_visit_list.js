// Home of the tablet: a new visit, those that are open, those that are signed.
import { h } from "vue";
import * as replica from "tm_replica";
import { shownCode } from "tm_box_code";
import Language from "tm_language";
import Older from "tm_older";
import { go, href } from "tm_route";
import { shape } from "tm_shapes";
import { desk, documentOf, nameOf } from "tm_state";
import { unsentNote } from "tm_unsent";
import { chairName, t, when } from "tm_words";

const KINDS = ["opened", "signature", "answer", "reading", "acceptance"];
const FIRST = 8; // signed visits shown before "show more"

export default {
  props: { steps: Array },
  data: () => ({ visits: null, titles: {}, all: false }),
  mounted() {
    this.load();
    let waiting = -1; // also when nothing new came, but what waited has been sent
    this.stop = replica.subscribe((list, { pending }) => {
      if (list.length || pending !== waiting) this.load();
      waiting = pending;
    });
  },
  unmounted() {
    this.stop();
  },
  methods: {
    async load() {
      const visits = (await replica.visits(KINDS)).filter((visit) => visit.kinds.opened?.length);
      for (const digest of new Set(visits.map((visit) => visit.kinds.opened[0].value.digest)))
        this.titles[digest] = (await documentOf(digest))?.texts ?? { en: {} };
      this.visits = visits.map(this.told);
    },
    told(visit) {
      const { value, at, author } = visit.kinds.opened[0],
        written = KINDS.slice(2).flatMap((kind) => visit.kinds[kind] ?? []);
      const last = written.reduce((late, entry) => (!late || entry.clock[0] > late.clock[0] ? entry : late), null);
      return {
        id: visit.visit,
        ...value,
        at,
        author,
        signed: isSigned((visit.kinds.signature ?? []).map((entry) => entry.value.role)),
        pending: visit.pending,
        complete: visit.complete,
        step: last && this.stepOf(last.item),
      };
    },
    stepOf(item) {
      return (
        this.steps.find(
          ({ id, screens }) => id === item || screens[screens.length - 1] === item || screens.includes(item),
        )?.id ?? null
      );
    },
    line(visit) {
      const texts = this.titles[visit.digest],
        key = `step.${visit.step}.title`;
      const title = visit.step && (texts?.[desk.language]?.[key] ?? texts?.en[key]);
      return h(
        "li",
        { key: visit.id },
        h("a", { class: "visit", href: href("walk", visit.id) }, [
          h("span", { class: "code" }, shownCode(visit.box)),
          h("span", { class: "place" }, [
            chairName(visit.chair),
            h("span", { class: "aside" }, `${when(visit.at)} · ${nameOf(visit.author)}`),
          ]),
          h("span", { class: "reached" }, [
            visit.signed ? t("visits.signed_word") : title ? t("visits.at", { step: title }) : t("visits.begun"),
            visit.pending > 0 && h("span", { class: "aside" }, t("visits.pending", { count: visit.pending })),
          ]),
          shape("next"),
        ]),
      );
    },
    list(name, visits) {
      if (!visits.length) return null;
      return h("section", { class: "visits" }, [h("h2", t(`visits.${name}`)), h("ul", visits.map(this.line))]);
    },
  },
  render() {
    const open = (this.visits ?? []).filter((visit) => !visit.signed),
      signed = (this.visits ?? []).filter((visit) => visit.signed);
    return h("main", { class: "home" }, [
      h("div", { class: "home-head" }, [
        h("h1", { tabindex: -1 }, desk.clinic ? desk.clinic.clinic : t("visits.title")),
        desk.clinic &&
          h("button", { type: "button", class: "primary new-visit", onClick: () => go("new") }, [
            shape("plus"),
            t("visits.new"),
          ]),
      ]),
      desk.problem && h("p", { class: "fault", role: "alert" }, [shape("alert"), h("span", desk.problem)]),
      unsentNote((this.visits ?? []).filter((visit) => visit.pending > 0).length, { always: false }),
      this.visits &&
        desk.clinic &&
        !this.visits.length &&
        h("div", { class: "empty" }, [
          h("p", { class: "sentence" }, t("visits.none")),
          h("p", { class: "hint" }, t("visits.none_do")),
        ]),
      this.list("open", open),
      this.list("signed", this.all ? signed : signed.slice(0, FIRST)),
      signed.length > FIRST &&
        !this.all &&
        h(
          "button",
          {
            type: "button",
            class: "secondary",
            onClick: () => {
              this.all = true;
            },
          },
          t("visits.more", { count: signed.length - FIRST }),
        ),
      h(Older),
      h(Language),
    ]);
  },
};

/** Whether these roles are enough; whether each signature still holds shows when the visit is opened. */
const isSigned = (roles) => roles.includes("clinician") || ["supervised", "supervisor"].every((one) => roles.includes(one));
