// Where the data is, in one line that is always there. A leaf of its own: it changes often, and nothing else is drawn
// anew for it.
import { h } from "vue";
import { href } from "tm_route";
import { shape } from "tm_shapes";
import { lamp } from "tm_state";
import { isToday, t, time, when } from "tm_words";

const SHAPES = { unpaired: "unpaired", alarm: "alert", refused: "alert", waiting: "tablet", sent: "sent" };

/** What the lamp says first: the worst thing first. */
export function lampState({ paired, unauthorized, alarm, refused, pending }) {
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
    const detail =
      sync.pending > 0 ? t(sync.pending > 1 ? "lamp.wait" : "lamp.wait_one", { count: sync.pending }) : sent;
    return h(
      "a",
      {
        class: ["lamp", `lamp-${state}`],
        href: href("data"),
        "data-state": state,
        "data-pending": sync.pending,
        "data-online": String(sync.online),
      },
      [
        shape(SHAPES[state]),
        h("span", { class: "lamp-text", role: "status" }, [
          h("strong", t(`lamp.${state}`)),
          detail && h("span", { class: "lamp-detail" }, detail),
        ]),
      ],
    );
  },
};
