// What is typed and not yet kept: it survives a reload and a change of the screen, and ends with the tab.
import { reactive } from "vue";

const held = reactive({});
const place = (name) => `tm.draft.${name}`;

export function draft(name) {
  return (held[name] ??= sessionStorage.getItem(place(name)) ?? "");
}

export function setDraft(name, text) {
  held[name] = text;
  if (text) sessionStorage.setItem(place(name), text);
  else sessionStorage.removeItem(place(name));
}

/** Nothing typed is left. */
export function forgetDrafts() {
  for (const name of Object.keys(held)) delete held[name];
  for (const key of Object.keys(sessionStorage)) if (key.startsWith(place(""))) sessionStorage.removeItem(key);
}
