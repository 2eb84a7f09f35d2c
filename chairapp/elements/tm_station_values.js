// What an item says at each station, as the rim map shows it: the words, and how it looks against the band.
import { spec } from "tm_steps";
import { num, t } from "tm_words";

/** {station: text} */
export const stationTexts = (item, value) =>
  mapped(value, (x) => (x === true ? t("station.marked") : num(x, spec(item).pad)));

/** {station: "marked" | "fits" | "unsure" | "off"} */
export const stationLooks = (item, value) => mapped(value, (x) => look(spec(item), x));

const mapped = (value, said) => Object.fromEntries(Object.entries(value).map(([station, x]) => [station, said(x)]));

function look({ band, tolerated }, value) {
  if (value === true) return "marked";
  const outside = (limits) =>
    limits && ((limits[0] !== null && value < limits[0]) || (limits[1] !== null && value > limits[1]));
  return !outside(band) ? "fits" : outside(tolerated ?? band) ? "off" : "unsure";
}
