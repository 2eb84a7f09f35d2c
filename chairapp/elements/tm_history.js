// What a value was before each change and after it: "0.0 → 1.0 → 1.5 mm". Readings by the mean of their round.
import { row } from "tm_state";
import { choiceText, spec, unit } from "tm_steps";
import { rounded, t } from "tm_words";

const WITHOUT = ["stations", "text", "list"];

/** One line, or null while there was no change. */
export function history(item) {
  const it = spec(item),
    now = row(item);
  if (!now.rounds.length || WITHOUT.includes(it.kind)) return null;
  const word = (value) => (typeof value === "number" ? rounded(value, it.pad) : choiceText(item, value));
  const rounds = [...now.rounds, present(now)].filter((values) => values.length).map((values) => word(mean(values)));
  const space = it.unit && it.unit !== "deg" ? " " : "";
  return rounds.join(t("history.then")) + space + unit(item);
}

function present({ readings, status, value }) {
  if (readings.length) return readings.map((one) => one.value);
  return status === "fresh" && value !== null ? [value] : [];
}

const mean = (values) =>
  typeof values[0] === "number" ? values.reduce((sum, x) => sum + x, 0) / values.length : values[0];
