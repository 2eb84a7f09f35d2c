// What is said of a tablet that the clinic removed, and the one way to give up what it could not hand in.
import { h, reactive } from "vue";
import * as replica from "tm_replica";
import { shape } from "tm_shapes";
import { author, lamp } from "tm_state";
import { t } from "tm_words";

const giving = reactive({ up: false, saved: "" });

/** null for a tablet that was not removed. */
export function removedNote() {
  const { removed, pending } = lamp.sync;
  if (removed === "cleared") return note("done", [h("span", t("removed.cleared"))]);
  if (removed !== "blocked") return null;
  return note("alert", [
    h("span", t("removed.blocked", { count: pending })),
    author() ? ways() : h("span", t("removed.sign_in")),
  ]);
}

/** First a file, then, in two steps and never by itself, the tablet is emptied. */
function ways() {
  const button = (name, kind, onClick, text) => h("button", { type: "button", class: [kind, "small", name], onClick }, text);
  return h("div", { class: "row wrap" }, [
    button("removed-save", "primary", save, t("data.save")),
    giving.up
      ? button("removed-clear", "secondary", replica.discard, t("removed.really", { count: lamp.sync.pending }))
      : button("removed-give-up", "secondary", () => (giving.up = true), t("removed.clear")),
    giving.saved && h("span", { role: "status" }, t("data.saved", { name: giving.saved })),
  ]);
}

async function save() {
  giving.saved = await replica.saveToFile();
}

const note = (picture, kids) => h("div", { class: "removed", role: "status" }, [shape(picture), h("div", kids)]);
