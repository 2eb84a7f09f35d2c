// The way past a chair's computer that is away: what the lamp and the data page say of it, and the button that takes it.
import { h } from "vue";
import * as replica from "tm_replica";
import { isToday, t, time, when } from "tm_words";

const clock = (at) => (isToday(at) ? time(at) : when(at));

/** "" while there is nothing to say; "offered", "failing" or "on". */
export function directState({ directTo, directOn, directError }) {
  if (!directOn) return directTo ? "offered" : "";
  return directError ? "failing" : "on";
}

/** For the lamp: one short clause, "" for none. */
export function directClause(sync) {
  const state = directState(sync);
  if (state === "offered") return t("lamp.direct_offered", { time: clock(sync.awaySince) });
  if (state === "failing") return t("lamp.direct_failing");
  return state && sync.pending === 0 && sync.directSent ? t("lamp.direct_on", { time: clock(sync.directSent) }) : "";
}

/** For the data page: lines of [key of the name, text]. */
export function directFacts(sync) {
  const sent = sync.directSent ? t("data.direct_sent", { time: when(sync.directSent) }) : t("data.never");
  return [
    ["data.away", sync.awaySince && t("data.away_since", { time: when(sync.awaySince) })],
    ["data.direct", sync.directOn ? (sync.directError ?? sent) : null],
  ];
}

/** The button, null while it is not offered. `attempt(what, done)` runs it and shows how it went. */
export function directButton(sync, attempt) {
  if (directState(sync) !== "offered") return null;
  const onClick = () => attempt(replica.sendDirectly, () => t("data.direct_done"));
  return h("button", { type: "button", class: "primary direct", onClick }, t("data.direct_send"));
}
