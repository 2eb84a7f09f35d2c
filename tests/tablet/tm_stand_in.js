import { h, reactive } from "vue";
import * as judge from "tm_judge";
import * as release from "tm_release";
import * as replica from "tm_replica";

const options = JSON.parse(localStorage.getItem("stand-in") ?? "{}");
const seen = reactive({ entries: 0, visit: localStorage.getItem("visit") ?? replica.uuid7(), started: false });
const status = reactive({ ...replica.status() });
const shown = reactive({ release: release.status(), judge: judge.status() });
localStorage.setItem("visit", seen.visit);
globalThis.tm = { replica, judge, release, seen, status };
sessionStorage.setItem("loads", String(1 + Number(sessionStorage.getItem("loads") ?? 0)));

const count = async () => { seen.entries = (await replica.entries(seen.visit)).length; };
replica.subscribe((list, now) => {
  Object.assign(status, now);
  if (list.length) count();
});
release.subscribe((now) => { shown.release = now; });
judge.subscribe((now) => { shown.judge = now; });
replica.start(options).then(count).then(() => { seen.started = true; });

const tap = () => replica.add({ visit: seen.visit, kind: "answer", item: "seating.upright", value: "upright", author: "ada" });

export default {
  render() {
    const words = { pending: status.pending, paired: status.paired, ...shown.release, judge: shown.judge.state };
    return h("section", [
      h("button", { id: "tap", disabled: !seen.started, onClick: tap }, "Add"),
      h("p", { id: "entries" }, String(seen.entries)),
      h("p", { id: "pending" }, String(status.pending)),
      h("p", { id: "offline" }, String(words.offlineReady)),
      h("p", { id: "status" }, JSON.stringify(words)),
    ]);
  },
};
