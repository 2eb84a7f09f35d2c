// A tablet that belongs to no clinic: how it comes to one, by a one-time code, typed or as a link from a symbol.
import { h, watch } from "vue";
import * as replica from "tm_replica";
import { draft, setDraft } from "tm_draft";
import { removedNote } from "tm_removed";
import { go, href, replace, route } from "tm_route";
import { faultNote, shape } from "tm_shapes";
import { desk, lamp } from "tm_state";
import { t } from "tm_words";

const CODE = "pairing-code", // of the drafts
  NAME = "tablet-name";

export default {
  data: () => ({ fault: null, busy: false }),
  created() {
    // From the symbol: the code goes out of the address at once, so that nobody comes by it in the history.
    const taken = () => {
      if (route.page !== "pair" || !route.step) return;
      setDraft(CODE, route.step);
      replace("pair");
    };
    watch(() => route.step, taken, { immediate: true });
  },
  methods: {
    async pair() {
      const code = draft(CODE).trim(),
        name = draft(NAME).trim();
      if (!code || !name) this.fault = { why: t(code ? "pair.no_name" : "pair.no_code"), do: "" };
      if (this.busy || !code || !name) return;
      this.busy = true;
      this.fault = await pairedBy(name, code);
      this.busy = false;
      if (this.fault) return;
      setDraft(CODE, "");
      go();
    },
    field(name, label, hint, more) {
      return h("label", { class: "asked" }, [
        h("span", { class: "asked-label" }, label),
        h("span", { class: "hint" }, hint),
        h("input", {
          class: name,
          value: draft(name),
          autocomplete: "off",
          onInput: (e) => {
            setDraft(name, e.target.value);
            this.fault = null;
          },
          onKeydown: (e) => e.key === "Enter" && this.pair(),
          ...more,
        }),
      ]);
    },
  },
  render() {
    return h("main", { class: "sheet pair" }, [
      h("h1", { tabindex: -1 }, title()),
      removedNote(),
      h("p", { class: "hint" }, t(desk.device ? "pair.how_again" : "pair.how")),
      h("ol", { class: "ways-in" }, ["pair.way_one", "pair.way_two", "pair.way_three"].map((key) => h("li", { key }, t(key)))),
      this.field(CODE, t("pair.code_label"), t("pair.code_hint"), { autocapitalize: "characters", spellcheck: false }),
      this.field(NAME, t("pair.name_label"), t("pair.name_hint"), { maxlength: 80 }),
      faultNote(this.fault),
      !lamp.sync.needsCode && lamp.sync.online === false && h("p", { class: "hint" }, t("pair.away")),
      h("div", { class: "row wrap" }, [
        desk.device && h("a", { class: "secondary back", href: href() }, [shape("back"), t("walk.back")]),
        h("button", { type: "button", class: "primary pair-now", onClick: this.pair }, t(this.busy ? "pair.asking" : "pair.now")),
      ]),
    ]);
  },
};

function title() {
  if (desk.device) return t("pair.again", { name: desk.device.name });
  return t(lamp.sync.removed ? "data.title_removed" : "pair.title");
}

async function pairedBy(name, code) {
  try {
    await replica.pair(name, code);
    return null;
  } catch (error) {
    if (!(error instanceof replica.ReplicaError)) throw error;
    return error;
  }
}
