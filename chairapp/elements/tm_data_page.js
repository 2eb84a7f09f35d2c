// Where the data is, in full: what waits, what was refused, whether this browser promised to keep it, and a file to
// carry away.
import { h } from "vue";
import * as replica from "tm_replica";
import { directButton, directFacts } from "tm_direct";
import { installButton, installText } from "tm_install";
import { href } from "tm_route";
import { faultNote, shape } from "tm_shapes";
import { removedNote } from "tm_removed";
import { author, desk, lamp } from "tm_state";
import { lampState } from "tm_sync_lamp";
import { unsentNote, unsentVisits } from "tm_unsent";
import { t, told, when, worded } from "tm_words";

export default {
  data: () => ({ refused: [], unsent: 0, fault: null, said: "" }),
  mounted() {
    this.load();
    this.stop = replica.subscribe(() => this.load());
  },
  unmounted() {
    this.stop();
  },
  methods: {
    async load() {
      this.unsent = await unsentVisits();
      this.refused = lamp.sync.refused ? await replica.refused() : [];
    },
    async attempt(what, done) {
      this.fault = null;
      try {
        const result = await what();
        this.said = done(result);
      } catch (error) {
        if (!(error instanceof replica.ReplicaError)) throw error;
        this.fault = error;
      }
    },
    facts() {
      const { sync, release } = lamp,
        never = t("data.never");
      return [
        [
          "data.waiting",
          sync.pending
            ? t(sync.pending > 1 ? "lamp.wait" : "lamp.wait_one", { count: sync.pending })
            : t("data.nothing_waits"),
        ],
        ["data.sent", sync.lastSent ? when(sync.lastSent) : never],
        ["data.heard", sync.lastHeard ? when(sync.lastHeard) : never],
        ...directFacts(sync),
        ["data.more", sync.moreAtNode.length ? t("data.more_at_node", { count: sync.moreAtNode.length }) : null],
        [
          "data.kept",
          t(sync.persisted === null ? "data.kept_unknown" : sync.persisted ? "data.kept_yes" : "data.kept_no"),
        ],
        ["data.home_screen", installText()],
        ["data.offline", release.message ?? t(release.offlineReady ? "data.offline_yes" : "data.offline_no")],
        ["data.version", t(release.newer ? "data.version_newer" : "data.version_is", { version: release.version })],
        [
          "data.tablet",
          desk.device ? t("data.tablet_is", { name: desk.device.name, letter: desk.device.letter }) : null,
        ],
      ].filter(([, text]) => text);
    },
    alarm() {
      if (!lamp.sync.alarm) return null;
      const seen = { type: "button", class: "secondary small", onClick: () => replica.dismissAlarm() };
      return h("div", { class: "row wrap" }, [
        h("p", { class: "fault", role: "alert" }, [shape("alert"), h("span", lamp.sync.alarm)]),
        h("button", seen, t("data.alarm_seen")),
      ]);
    },
    turnedAway() {
      if (!this.refused.length || !author()) return null; // what was refused is of a visit
      return h("section", { class: "refused" }, [
        h("h2", t("data.refused")),
        h("p", { class: "hint" }, t("data.refused_hint")),
        h(
          "ul",
          this.refused.map((one) =>
            h("li", { key: one.entry.id }, [
              h("strong", `${one.entry.item ?? one.entry.kind}: `),
              told(one),
              h("span", { class: "aside" }, ` ${when(one.at)}`),
            ]),
          ),
        ),
      ]);
    },
  },
  render() {
    const state = lampState(lamp.sync);
    return h("main", { class: "sheet data" }, [
      h("h1", { tabindex: -1 }, t(`data.title_${state}`)),
      this.alarm(),
      removedNote(),
      unsentNote(this.unsent, { always: true }),
      lamp.sync.lastError && h("p", { class: "hint" }, worded(lamp.sync.lastError)),
      h(
        "dl",
        { class: "facts" },
        this.facts().map(([key, text]) => h("div", { key }, [h("dt", t(key)), h("dd", text)])),
      ),
      this.turnedAway(),
      faultNote(this.fault),
      this.said && h("p", { class: "said", role: "status" }, [shape("done"), h("span", this.said)]),
      h("div", { class: "row wrap" }, [
        h("a", { class: "secondary back", href: href() }, [shape("back"), t("walk.back")]),
        directButton(lamp.sync, this.attempt),
        state === "unpaired"
          ? h("a", { class: "primary pair", href: href("pair") }, t("data.pair"))
          : h("button", { type: "button", class: "primary send", onClick: () => replica.kick() }, t("data.send")),
        author() &&
          h(
            "button",
            {
              type: "button",
              class: "secondary save",
              onClick: () => this.attempt(replica.saveToFile, (name) => t("data.saved", { name })),
            },
            t("data.save"),
          ),
        installButton(),
      ]),
    ]);
  },
};
