// Visits this tablet let go of once they were safe at the clinic: the code of the box brings one back.
import { h } from "vue";
import * as replica from "tm_replica";
import { go } from "tm_route";
import { faultNote } from "tm_shapes";
import { t } from "tm_words";

export default {
  data: () => ({ gone: [], typed: "", fault: null, busy: false }),
  async mounted() {
    this.gone = await replica.gone();
  },
  methods: {
    async open() {
      const code = this.typed.toUpperCase().replace(/[^0-9A-Z]/g, ""),
        found = this.gone.find((one) => one.remembered === code);
      if (!found) this.fault = { why: t("visits.older_none", { code: this.typed }), do: "" };
      if (!found || this.busy) return;
      this.busy = true;
      this.fault = await broughtBack(found.visit);
      this.busy = false;
      if (!this.fault) go("walk", found.visit);
    },
  },
  render() {
    if (!this.gone.length) return null;
    return h("section", { class: "older" }, [
      h("h2", t("visits.older")),
      h("p", { class: "hint" }, t("visits.older_hint")),
      h("div", { class: "asked" }, [
        h("label", [
          h("span", t("visits.older_code")),
          h("input", {
            class: "pairing-code",
            value: this.typed,
            autocomplete: "off",
            autocapitalize: "characters",
            spellcheck: false,
            onInput: (e) => {
              this.typed = e.target.value;
              this.fault = null;
            },
            onKeydown: (e) => e.key === "Enter" && this.open(),
          }),
        ]),
        h("button", { type: "button", class: "secondary older-open", onClick: this.open }, t("visits.older_open")),
      ]),
      faultNote(this.fault),
    ]);
  },
};

async function broughtBack(visit) {
  try {
    await replica.bringBack(visit);
    return null;
  } catch (error) {
    if (!(error instanceof replica.ReplicaError)) throw error;
    return error;
  }
}
