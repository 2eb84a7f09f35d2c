// The tablet's own language, in which it speaks while no visit is open. A setting of this browser, kept by it.
import { LANGUAGES } from "tm_words";

const KEPT = "tm.language";

/** Those the clinic allows and both page and sequence have words in; a tablet of no clinic has those of the page. */
export function offered(clinic, sequence) {
  const allowed = clinic?.languages ?? LANGUAGES;
  const worded = allowed.filter((one) => LANGUAGES.includes(one) && (!sequence || one in sequence.texts));
  return worded.length ? worded : ["en"];
}

/** What somebody chose here, else what the browser asks for, else the first there is. */
export function ownLanguage(among) {
  const wished = [kept(), ...navigator.languages].filter(Boolean);
  return wished.flatMap((one) => [one, one.split("-")[0]]).find((one) => among.includes(one)) ?? among[0];
}

export function keepOwnLanguage(language) {
  chosen = language;
  try {
    localStorage.setItem(KEPT, language);
  } catch {
    // a browser that keeps nothing: the page says so itself, and the choice holds as long as the page
  }
}

let chosen = null;

function kept() {
  try {
    return chosen ?? localStorage.getItem(KEPT);
  } catch {
    return null; // as above
  }
}
