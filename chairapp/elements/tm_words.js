// The page's own words, and how numbers and times are written. No other module holds a text.
import { reactive } from "vue";

const config = JSON.parse(document.getElementById("tm-config").textContent);
const voice = reactive({ language: "en", zone: undefined });

const FAULTS = Object.keys(config.words.en).filter((key) => key.startsWith("fault."));

/** Languages the page has words in. */
export const LANGUAGES = Object.keys(config.words);

/** Speak this language from now on; times in this IANA zone. */
export function speak(language, zone) {
  voice.language = language in config.words ? language : "en";
  voice.zone = zone;
  document.documentElement.lang = voice.language;
}

/**
 * The text of this key with its {params} filled in. A missing key is shown as itself, and a test keeps it from
 * happening.
 */
export function t(key, params = {}) {
  return fill(config.words[voice.language]?.[key] ?? config.words.en[key] ?? key, params);
}

export const fill = (text, params) => text.replace(/\{(\w+)\}/g, (whole, name) => params[name] ?? whole);

/** A number as it is shown: with the places of the pad it was typed on, or more where it has more (at most three). */
export function num(value, pad = 0.5) {
  if (value === null || value === undefined) return t("number.none");
  const size = Math.abs(value),
    places = Math.max(placesOf(pad), Math.min(3, placesOf(size)));
  return (value < 0 ? "−" : "") + pointed(halfUp(size, places));
}

/** A mean or another worked-out number: hundredths, as the judge writes them, but no fewer places than the pad has. */
export function rounded(value, pad = 0.5) {
  if (value === null || value === undefined) return t("number.none");
  const least = placesOf(pad),
    text = halfUp(Math.abs(value), 2),
    short = String(+text);
  return (value < 0 && +text !== 0 ? "−" : "") + pointed(placesOf(short) < least ? halfUp(+text, least) : short);
}

/** With its sign: what is added or taken off. */
export const signed = (value, pad) => (value > 0 ? "+" : "") + num(value, pad);

/**
 * The number typed, or the text as it stands when it is none: then the check says what is wrong with it. Comma and point
 * are both taken in every language, so a thousand has no mark of its own.
 */
export function typed(text) {
  const plain = text.trim().replace("−", "-").replace(",", ".");
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : text.trim();
}

export const time = (at) => shown(at, { hour: "2-digit", minute: "2-digit" });
export const day = (at) => shown(at, { weekday: "short", day: "numeric", month: "short" });
export const isToday = (at) => day(at) === day(new Date().toISOString());
export const when = (at) => (isToday(at) ? time(at) : `${day(at)}, ${time(at)}`);

/** A chair by its name; one that has only a number is called a chair. */
export const chairName = (chair) => (/^\d+$/.test(chair) ? t("app.chair", { chair }) : chair);

export const capital = (text) => text.charAt(0).toLocaleUpperCase(voice.language) + text.slice(1);

/**
 * What a module says that knows no catalogue, in the language spoken: English stands under "fault." word for word. What
 * else it says (a node's own sentence, what the browser adds in brackets) is left as it is.
 */
export const worded = (said) => FAULTS.reduce((text, key) => text.replace(config.words.en[key], () => t(key)), said);

/** What is wrong, {why, do}, as sentences. */
export const told = (fault) =>
  [fault.why, fault.do]
    .filter(Boolean)
    .map((part) => capital(worded(part)).replace(/([^.?!])$/, "$1."))
    .join(" ");

/** "a, b and c" */
export function listed(texts) {
  if (texts.length < 2) return texts.join("");
  return texts.slice(0, -1).join(t("list.comma")) + t("list.and") + texts[texts.length - 1];
}

const shown = (at, how) => format(voice.language, voice.zone, how).format(new Date(at));

const formats = new Map();

/** Made once each: making one takes longer than anything else that is drawn after a tap. */
function format(language, zone, how) {
  const key = [language, zone, ...Object.keys(how)].join();
  if (!formats.has(key))
    formats.set(key, new Intl.DateTimeFormat(language, { timeZone: zone, hourCycle: "h23", ...how }));
  return formats.get(key);
}

/** The digits with the language's own decimal mark. */
const pointed = (digits) => digits.replace(".", t("number.point"));

const placesOf = (x) => (String(x).split(".")[1] ?? "").length;

function halfUp(size, places) {
  const shift = 10 ** places;
  return (Math.floor(size * shift + 0.5 + 1e-9) / shift).toFixed(places);
}
