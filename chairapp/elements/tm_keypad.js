// The number pad: a field that keeps what was typed, our own keys, one-step buttons, and what is wrong beside the
// field.
// Its parts are laid out by the grid of the pad that uses it (`.pad` in chair.css).
import { h } from "vue";
import { draft, setDraft } from "tm_draft";
import { shape } from "tm_shapes";
import { num, t, told, typed } from "tm_words";

const DIGITS = ["7", "8", "9", "4", "5", "6", "1", "2", "3"];

export default {
  props: {
    name: String, // of the draft
    label: String,
    unit: String,
    action: String,
    caption: String, // what the number is for, where the question leaves it open
    pad: Number, // step of the one-step buttons
    start: Number, // what the one-step buttons step from when nothing is typed
    negative: Boolean,
    take: Function, // (number or text) -> promise of null or {why, do}
  },
  data: () => ({ fault: null, busy: false }),
  watch: {
    name() {
      this.fault = null;
    },
  },
  computed: {
    text: {
      get() {
        return draft(this.name);
      },
      set(text) {
        setDraft(this.name, text);
      },
    },
  },
  mounted() {
    this.focus();
  },
  methods: {
    focus() {
      this.$refs.field.focus({ preventScroll: true });
    },
    type(text) {
      this.text = text;
      this.fault = null;
    },
    key(character) {
      this.type(this.text + character);
    },
    sign() {
      this.type(/^[-−]/.test(this.text) ? this.text.slice(1) : "−" + this.text);
    },
    step(way) {
      const at = typed(this.text);
      if (this.text && typeof at !== "number") return;
      const from = this.text ? at : (this.start ?? 0),
        moved = Math.round((from + way * this.pad) * 1e6) / 1e6;
      this.type(num(moved, this.pad));
    },
    async submit() {
      if (!this.text.trim()) {
        this.fault = { why: t("pad.empty", { label: this.label }), do: "" };
        return;
      }
      if (this.busy) return;
      this.busy = true;
      try {
        this.fault = await this.take(typed(this.text));
        if (!this.fault) this.text = "";
      } finally {
        this.busy = false;
      }
    },
    drawField() {
      return h("div", { class: ["field", this.fault && "is-wrong", this.caption && "has-caption"] }, [
        this.caption && h("span", { class: "caption", "aria-hidden": "true" }, this.caption),
        h("input", {
          ref: "field",
          value: this.text,
          inputmode: "none",
          autocomplete: "off",
          enterkeyhint: "done",
          "aria-label": this.label,
          "aria-invalid": this.fault ? "true" : "false",
          "aria-describedby": "pad-fault",
          onInput: (e) => this.type(e.target.value),
          onKeydown: (e) => e.key === "Enter" && this.submit(),
        }),
        this.unit && h("span", { class: "unit" }, this.unit),
      ]);
    },
    drawKeys() {
      const step = num(this.pad, this.pad);
      return h("div", { class: "keys", role: "group", "aria-label": t("pad.keys") }, [
        ...DIGITS.map((digit) => key(digit, () => this.key(digit), `k${digit}`)),
        this.negative ? key("−", this.sign, "sign", t("pad.sign")) : h("span"),
        key("0", () => this.key("0"), "k0"),
        this.pad < 1 ? key(t("number.point"), () => this.key(t("number.point")), "point", t("pad.point")) : h("span"),
        key(shape("erase"), () => this.type(this.text.slice(0, -1)), "erase", t("pad.erase")),
        key(`+${step}`, () => this.step(1), "more", t("pad.more", { step })),
        key(`−${step}`, () => this.step(-1), "less", t("pad.less", { step })),
      ]);
    },
  },
  render() {
    return h("div", { class: "keypad" }, [
      this.drawField(),
      h("button", { type: "button", class: "primary take", onClick: this.submit }, this.action),
      h(
        "p",
        { class: "fault", id: "pad-fault", role: "alert" },
        this.fault && [shape("alert"), h("span", told(this.fault))],
      ),
      this.drawKeys(),
    ]);
  },
};

const key = (face, press, name, label) =>
  h("button", { type: "button", class: ["key", `key-${name}`], "aria-label": label, onClick: press }, [face]);
