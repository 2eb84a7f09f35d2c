// What would be lost with this tablet: said wherever something could take its data away.
import { h } from "vue";
import * as replica from "tm_replica";
import { shape } from "tm_shapes";
import { lamp } from "tm_state";
import { t } from "tm_words";

/** How many visits have entries that only this tablet holds. */
export const unsentVisits = async () => (await replica.visits()).filter((visit) => visit.pending > 0).length;

/** "This tablet still holds 4 visits not yet sent", and what not to do until they are; null when it holds none. */
export const unsentText = (count) => (count ? t(count > 1 ? "unsent.visits" : "unsent.visit", { count }) : null);

/** The warning itself; null when nothing waits, or when the browser promised to keep it and nobody asked. */
export function unsentNote(count, { always }) {
  const mayClear = lamp.sync.persisted === false;
  if (!count || !(always || mayClear)) return null;
  const text = [unsentText(count), t("unsent.keep"), mayClear && t("unsent.may_clear")].filter(Boolean).join(" ");
  return h("p", { class: "caution unsent" }, [shape("alert"), h("span", text)]);
}
