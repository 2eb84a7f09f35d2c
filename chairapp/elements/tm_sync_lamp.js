// Where the data is, in one line that is always there. A leaf of its own: it changes often, and nothing else is drawn
// anew for it.
import { h } from "vue";
import { directClause, directState } from "tm_direct";
import { href } from "tm_route";
import { shape } from "tm_shapes";
import { lamp } from "tm_state";
import { isToday, t, time, when } from "tm_words";

const SHAPES = { removed: "unpaired", unpaired: "unpaired", alarm: "alert", refused: "alert", waiting: "tablet", sent: "sent" };

/** What the lamp says first: the worst thing first. */
export function lampState({ paired, unauthorized, removed, alarm, refused, pending }) {
  if (removed) return "removed";
  if (!paired || unauthorized) return "unpaired";
  if (alarm) return "alarm";
  if (refused > 0) return "refused";
  return pending > 0 ? "waiting" : "sent";
}

export default {
  render() {
    const { sync } = lamp,
      state = lampState(sync);
    const sent = sync.lastSent
      ? t("lamp.last", { time: isToday(sync.lastSent) ? time(sync.lastSent) : when(sync.lastSent) })
      : "";
    const direct = directClause(sync);
    const waits = t(sync.pending > 1 ? "lamp.wait" : "lamp.wait_one", { count: sync.pending });
    // There is room for two lines: how many wait, or else the way past the node, is told before when it was last sent.
    const detail = sync.pending > 0 ? waits : direct ? "" : sent;
    return h(
      "a",
      {
        class: ["lamp", `lamp-${state}`],
        href: href("data"),
        "data-state": state,
        "data-pending": sync.pending,
        "data-online": String(sync.online),
        "data-direct": directState(sync),
      },
      [
        shape(SHAPES[state]),
        h("span", { class: "lamp-text", role: "status" }, [
          h("strong", t(`lamp.${state}`)),
          detail && h("span", { class: "lamp-detail" }, detail),
          direct && h("span", { class: "lamp-detail lamp-direct" }, direct),
        ]),
      ],
    );
  },
};
