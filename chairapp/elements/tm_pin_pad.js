// The pad for a PIN: what is typed shows as dots and stays in this field; our own keys, and the keyboard.
import { h } from "vue";
import { waitOf } from "tm_people";
import { shape } from "tm_shapes";
import { t, told } from "tm_words";

const DIGITS = ["7", "8", "9", "4", "5", "6", "1", "2", "3"];
const LEAST = 6;
const SECOND = 1000;

export default {
  props: {
    person: String,
    take: Function, // (pin) -> promise of null or {why, do, wait}
    back: Function,
  },
  data: () => ({ typed: "", fault: null, busy: false, wait: 0 }),
  async mounted() {
    this.$refs.field.focus({ preventScroll: true });
    this.waitFor(await waitOf(this.person));
  },
  unmounted() {
    clearInterval(this.ticking);
  },
  methods: {
    type(text) {
      this.typed = text;
      if (!this.wait) this.fault = null;
    },
    async submit() {
      if (this.busy || this.wait) return;
      if (this.typed.length < LEAST) {
        this.fault = { why: t("pin.short", { count: LEAST }), do: "" };
        return;
      }
      this.busy = true;
      try {
        this.fault = await this.take(this.typed);
        this.waitFor(this.fault?.wait ?? 0);
      } finally {
        this.typed = "";
        this.busy = false;
        this.$refs.field?.focus({ preventScroll: true });
      }
    },
    /** The wait itself is kept with the person; this only shows how long it still is. */
    waitFor(wait) {
      clearInterval(this.ticking);
      this.wait = wait;
      if (!wait) return;
      this.fault = { why: t("pin.locked"), do: "" };
      this.ticking = setInterval(async () => {
        this.wait = await waitOf(this.person);
        if (this.wait) return;
        clearInterval(this.ticking);
        this.fault = null;
      }, SECOND);
    },
    field() {
      return h("div", { class: ["field", this.fault && "is-wrong"] }, [
        h("input", {
          ref: "field",
          type: "password",
          value: this.typed,
          inputmode: "none",
          autocomplete: "one-time-code",
          enterkeyhint: "done",
          "aria-label": t("pin.label"),
          "aria-invalid": this.fault ? "true" : "false",
          "aria-describedby": "pin-fault",
          onInput: (e) => this.type(e.target.value),
          onKeydown: (e) => e.key === "Enter" && this.submit(),
        }),
      ]);
    },
    keys() {
      return h("div", { class: "keys pin-keys", role: "group", "aria-label": t("pin.keys") }, [
        ...DIGITS.map((digit) => key(digit, () => this.type(this.typed + digit), `k${digit}`)),
        h("span"),
        key("0", () => this.type(this.typed + "0"), "k0"),
        key(shape("erase"), () => this.type(this.typed.slice(0, -1)), "erase", t("pad.erase")),
      ]);
    },
  },
  render() {
    return h("div", { class: "pin-pad" }, [
      this.keys(),
      h("div", { class: "pin-side" }, [
        this.field(),
        h("p", { class: "fault", id: "pin-fault", role: "alert" }, this.fault && [
          shape("alert"),
          h("span", this.wait ? t("pin.wait", { time: duration(this.wait) }) : told(this.fault)),
        ]),
        h(
          "button",
          { type: "button", class: "primary enter", "aria-disabled": String(this.busy || this.wait > 0), onClick: this.submit },
          t(this.busy ? "pin.looking" : "pin.enter"),
        ),
        h("button", { type: "button", class: "secondary back", onClick: this.back }, [shape("back"), t("pin.back")]),
      ]),
    ]);
  },
};

const key = (face, press, name, label) =>
  h("button", { type: "button", class: ["key", `key-${name}`], "aria-label": label, onClick: press }, [face]);

/** Minutes and seconds, 1:05. */
function duration(ms) {
  const seconds = Math.ceil(ms / SECOND);
  return `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
}
