// Several readings of one thing: each shown and withdrawable, the mean and the spread of the latest three live.
import { h } from "vue";
import Keypad from "tm_keypad";
import KeptPictures from "tm_kept_pictures";
import Photo from "tm_photo";
import { derived } from "tm_derived";
import { answer, reading, withdraw } from "tm_actions";
import { faultNote, shape } from "tm_shapes";
import { desk, nameOf, row } from "tm_state";
import { choiceText, label, spec, unit } from "tm_steps";
import { num, rounded, t, time } from "tm_words";

const SETTLED_TOGETHER = ["vertical.rest", "vertical.occlusal"];

export default {
  props: { item: String },
  data: () => ({ takenBack: null, fault: null }),
  computed: {
    it() {
      return spec(this.item);
    },
    now() {
      return row(this.item);
    },
    values() {
      return this.now.readings.map((one) => one.value);
    },
  },
  methods: {
    async takeBack(one) {
      this.fault = await withdraw(this.item, one.id);
      if (!this.fault) this.takenBack = one;
    },
    async putBack() {
      const { value, photo } = this.takenBack;
      this.fault = await reading(this.item, photo ? { photo: value } : value);
      if (!this.fault) this.takenBack = null;
    },
    withUnit(text) {
      return text + (this.it.unit === "deg" ? "" : " ") + unit(this.item);
    },
    one(one) {
      const value = num(one.value, this.it.pad);
      return h("li", { key: one.id, class: "reading" }, [
        h("span", { class: "figure" }, value),
        h("span", { class: "aside" }, [
          one.photo && h("span", { class: "from-photo" }, [shape("camera"), t("reading.from_photo")]),
          `${time(one.at)} · ${nameOf(one.author)}`,
        ]),
        h(
          "button",
          {
            type: "button",
            class: "quiet",
            "aria-label": t("reading.withdraw", { value }),
            onClick: () => this.takeBack(one),
          },
          [shape("cross")],
        ),
      ]);
    },
    figures() {
      const { values, it } = this,
        latest = values.slice(-3),
        lacking = Math.max(0, it.needed - values.length);
      if (!values.length)
        return [
          h("p", { class: "aside" }, t(it.needed > 1 ? "reading.none_of" : "reading.none", { needed: it.needed })),
        ];
      const mean = values.reduce((sum, x) => sum + x, 0) / values.length;
      return [
        h("dl", { class: "figures" }, [
          h("div", [h("dt", t("reading.mean")), h("dd", this.withUnit(rounded(mean, it.pad)))]),
          values.length > 1 &&
            h(
              "div",
              { class: it.spread !== null && Math.max(...latest) - Math.min(...latest) > it.spread + 1e-9 && "is-off" },
              [
                h("dt", t("reading.spread")),
                h(
                  "dd",
                  this.withUnit(num(Math.round((Math.max(...latest) - Math.min(...latest)) * 1e6) / 1e6, it.pad)),
                ),
              ],
            ),
        ]),
        lacking > 0 &&
          h("p", { class: "aside" }, t(lacking > 1 ? "reading.more" : "reading.one_more", { more: lacking })),
        this.settling(),
      ];
    },
    /** How many more of each would settle a distance that lies too close to its limit to be sure. */
    settling() {
      const close = desk.verdict?.steps[this.it.step]?.findings.find((one) => one.code === "close");
      if (!close?.params.more || !SETTLED_TOGETHER.includes(this.item)) return null;
      const { more } = close.params;
      return h("p", { class: "settles" }, t(more > 1 ? "reading.settle" : "reading.settle_one", { more }));
    },
    eye() {
      const given = this.now.value === "looks_parallel" && this.now.status === "fresh" && !this.values.length;
      return h(
        "button",
        {
          type: "button",
          class: ["choice", given && "is-given"],
          "aria-pressed": String(given),
          onClick: async () => {
            this.fault = await answer(this.item, "looks_parallel");
          },
        },
        [h("span", choiceText(this.item, "looks_parallel")), given && shape("done")],
      );
    },
  },
  render() {
    const { it, now, values } = this,
      last = values[values.length - 1];
    return h("div", { class: "pad" }, [
      h(Keypad, {
        name: `${desk.visit}.${this.item}`,
        label: label(this.item),
        unit: unit(this.item),
        pad: it.pad,
        start: last ?? it.start ?? undefined,
        negative: it.possible[0] < 0,
        action: t("reading.add"),
        take: (value) => reading(this.item, value),
      }),
      h("div", { class: "side-panel" }, [
        h("ol", { class: "readings", "aria-label": t("reading.list") }, now.readings.map(this.one)),
        faultNote(this.fault),
        ...this.figures(),
        derived(this.item),
        (it.photo || it.by_eye) &&
          h("div", { class: "otherwise" }, [it.photo && h(Photo, { item: this.item }), it.by_eye && this.eye()]),
        it.photo && h(KeptPictures, { item: this.item }),
        this.takenBack &&
          h("p", { class: "undo" }, [
            h("s", num(this.takenBack.value, it.pad)),
            " ",
            t("reading.withdrawn"),
            h("button", { type: "button", class: "quiet", onClick: this.putBack }, [
              shape("undo"),
              t("reading.put_back"),
            ]),
          ]),
      ]),
    ]);
  },
};
