// Everything found, accepted and changed, and the signature under it.
import { h } from "vue";
import RimMap from "tm_rim_map";
import { sign } from "tm_actions";
import { derived } from "tm_derived";
import { href } from "tm_route";
import { badge, faultNote, shape } from "tm_shapes";
import { author, desk, nameOf, personOf, row } from "tm_state";
import { stationLooks, stationTexts } from "tm_station_values";
import { changesText, faceText, isClinicalStep, label, say, spec, title, unit, valueText, verdictOf } from "tm_steps";
import { num, rounded, t, when } from "tm_words";

const CHANGES = ["ovd_change", "display_change", "distance_change"];
// With nothing left to do, and with steps open.
const SIGN = {
  clinician: ["review.sign", "review.sign_open"],
  supervised: ["review.sign", "review.sign_open"],
  supervisor: ["review.sign_second", "review.sign_second_open"],
};

export default {
  data: () => ({ fault: null, busy: false }),
  computed: {
    steps() {
      return desk.sequence.steps.filter((step) => isClinicalStep(step.id));
    },
    derived() {
      return desk.verdict?.derived ?? {};
    },
    signatures() {
      return desk.state?.signatures ?? [];
    },
  },
  methods: {
    async keep(role) {
      if (this.busy) return;
      this.busy = true;
      this.fault = await sign(role).finally(() => {
        this.busy = false;
      });
    },
    given(step) {
      return step.items
        .map((item) => item.id)
        .filter((id) => (row(id).value !== null && row(id).value !== undefined) || row(id).readings.length);
    },
    values(step) {
      return this.given(step)
        .filter((id) => spec(id).kind !== "stations")
        .map((id) => {
          const now = row(id),
            said = valueText(id, now.value, (x, pad) => (now.readings.length ? rounded(x, pad) : num(x, pad)));
          return h("div", { key: id, class: now.status === "stale" && "is-stale" }, [
            h("dt", label(id)),
            h("dd", [said, now.status === "stale" && h("span", { class: "aside" }, ` ${t("review.stale")}`)]),
          ]);
        });
    },
    /** What was taken by station, each on a map of its own. */
    maps(step) {
      const ids = this.given(step).filter((id) => spec(id).kind === "stations");
      if (!ids.length) return null;
      return h("div", { class: "review-maps" }, ids.map(this.map));
    },
    map(id) {
      const { value, status } = row(id),
        stale = status === "stale",
        about = { label: label(id), values: stationTexts(id, value), states: stale ? {} : stationLooks(id, value) };
      return h("figure", { key: id, class: stale && "is-stale" }, [
        h("figcaption", [
          [label(id), unit(id)].filter(Boolean).join(", "),
          stale && h("span", { class: "aside" }, ` ${t("review.stale")}`),
        ]),
        h(RimMap, about),
      ]);
    },
    step(step) {
      const about = desk.verdict?.steps[step.id],
        verdict = verdictOf(step.id);
      return h("section", { key: step.id, class: "review-step" }, [
        h(
          "h2",
          h("a", { href: href("walk", desk.visit, step.id) }, [
            badge(verdict, say(`verdict.${verdict}`)),
            h("span", title(step.id)),
          ]),
        ),
        h("div", { class: "review-body" }, [
          about?.acceptance?.holds &&
            h(
              "p",
              { class: "reason" },
              t("review.accepted", { reason: about.acceptance.reason, name: nameOf(about.acceptance.author) }),
            ),
          ...(about?.findings ?? [])
            .filter((one) => one.level !== "note")
            .map((one) => h("p", { key: one.code, class: "sentence" }, one.text)),
          h("dl", { class: "values" }, this.values(step)),
          this.maps(step),
        ]),
      ]);
    },
    compared() {
      const known = CHANGES.filter((name) => this.derived[name] !== null && this.derived[name] !== undefined);
      if (!known.length) return null;
      return h("section", { class: "review-part" }, [
        h("h2", t("review.old")),
        h(
          "dl",
          { class: "values" },
          known.map((name) =>
            h("div", { key: name }, [
              h("dt", t(`review.${name}`)),
              h("dd", `${signedMean(this.derived[name])} ${say("unit.mm")}`),
            ]),
          ),
        ),
      ]);
    },
    wax() {
      const made = (desk.state?.adjustments ?? []).filter((one) => !one.withdrawn);
      if (!made.length) return null;
      return h("section", { class: "review-part" }, [
        h("h2", t("review.wax")),
        h(
          "ul",
          made.map((one) =>
            h("li", { key: one.id }, [
              h("strong", faceText(one.rim, one.surface)),
              ` ${changesText(one.stations)} `,
              h("span", { class: "aside" }, `${when(one.at)} · ${nameOf(one.author)}`),
            ]),
          ),
        ),
      ]);
    },
    voided(signature) {
      const by = signature.void_by,
        what = by.item === "wax" ? t("review.wax_word") : label(by.item) || title(by.item);
      return h("p", { class: "fault" }, [
        shape("alert"),
        h("span", t("review.void", { item: what, name: nameOf(by.author), time: when(by.at) })),
      ]);
    },
    signature(one) {
      return h("li", { key: one.id, class: ["signature", one.valid ? "is-valid" : "is-void"] }, [
        h("p", [
          h("strong", t("review.signed", { name: nameOf(one.author), time: when(one.at) })),
          ` ${t(`role.${one.role}`)}`,
          !one.key && h("span", { class: "aside" }, ` · ${t("review.unproved")}`),
          h("code", { class: "digest" }, one.digest.slice(0, 8)),
        ]),
        !one.valid && one.void_by && this.voided(one),
      ]);
    },
    /** As what the person here signs; null when there is nothing for them to sign. */
    role() {
      const valid = this.signatures.filter((one) => one.valid),
        mine = valid.some((one) => one.author === author().id);
      if (mine || !["clinician", "supervised"].includes(author().role)) return null;
      const second = author().role === "clinician" && this.supervised();
      return second ? "supervisor" : author().role;
    },
    /** Whether it is a supervised clinician's visit, opened or signed by one. */
    supervised() {
      const opened = desk.entries.find((entry) => entry.kind === "opened");
      const signs = this.signatures.some((one) => one.valid && one.role === "supervised");
      return signs || personOf(opened?.author)?.role === "supervised";
    },
    /** What is still missing of a supervised visit. */
    waits() {
      const valid = this.signatures.filter((one) => one.valid),
        by = (role) => valid.some((one) => one.role === role);
      if (by("clinician") || !this.supervised() || (by("supervised") && by("supervisor"))) return null;
      const first = by("supervisor") && !by("supervised");
      return h("div", { class: "second-signature" }, [
        h("p", { class: "label-state is-open" }, [shape("open"), h("span", t(first ? "review.first" : "review.second"))]),
        this.role() === null &&
          h("button", { type: "button", class: "secondary change-person", onClick: ask }, [
            shape("person"),
            t("review.change"),
          ]),
      ]);
    },
    signing() {
      const role = this.role(),
        todo = desk.verdict?.todo ?? [];
      return h("section", { class: "signing" }, [
        todo.length > 0 &&
          h("p", { class: "hint" }, [
            t("review.todo"),
            " ",
            ...todo.map((step) =>
              h("a", { key: step, class: "secondary small", href: href("walk", desk.visit, step) }, [
                shape(verdictOf(step)),
                title(step),
              ]),
            ),
          ]),
        this.signatures.length > 0 && h("ul", { class: "signatures" }, this.signatures.map(this.signature)),
        this.waits(),
        faultNote(this.fault),
        role &&
          h(
            "button",
            { type: "button", class: "primary sign", "data-role": role, onClick: () => this.keep(role) },
            t(SIGN[role][todo.length ? 1 : 0], { name: author().name }),
          ),
        !["clinician", "supervised"].includes(author().role) && h("p", { class: "hint" }, t("review.who_signs")),
      ]);
    },
  },
  render() {
    const ready = desk.verdict?.ready;
    return h("section", { class: "sheet review" }, [
      h("h1", { tabindex: -1 }, t(ready ? "review.ready" : "review.not_ready")),
      ...(desk.verdict?.voids ?? [])
        .filter((one) => one.what === "record")
        .map((one) => h("p", { key: one.id, class: "fault" }, [shape("alert"), h("span", say("void.record"))])),
      desk.state?.unknown.length > 0 &&
        h("p", { class: "hint" }, t("review.unknown", { count: desk.state.unknown.length })),
      derived("vertical.rest"),
      ...this.steps.map(this.step),
      this.compared(),
      this.wax(),
      h("p", { class: "aside" }, say("caution.guidance")),
      this.signing(),
    ]);
  },
};

const signedMean = (value) => (value > 0 ? "+" : "") + rounded(value);

const ask = () => {
  desk.asking = true;
};
