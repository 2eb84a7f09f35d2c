// The pictures a clinician kept with the visit at one question: who kept each and when, and a look at it on tap. One
// that was withdrawn stands behind a line that opens, with who withdrew it, and can be kept again.
import { h } from "vue";
import * as replica from "tm_replica";
import { attachAgain, withdraw } from "tm_actions";
import { faultNote, shape } from "tm_shapes";
import { desk, nameOf } from "tm_state";
import { label } from "tm_steps";
import { t, when } from "tm_words";

export default {
  props: { item: String },
  data: () => ({ url: null, shown: "", fault: null, open: false }),
  computed: {
    all() {
      return desk.entries.filter((one) => one.kind === "attachment" && one.item === this.item && one.value?.sha256);
    },
    /** id of a picture -> the first entry that withdrew it */
    taken() {
      const back = desk.entries.filter((one) => one.kind === "withdrawal" && one.item === this.item);
      return new Map(back.reverse().map((one) => [one.of, one]));
    },
    kept() {
      return this.all.filter((one) => !this.taken.has(one.id));
    },
    withdrawn() {
      return this.all.filter((one) => this.taken.has(one.id));
    },
  },
  beforeUnmount() {
    this.putAway();
  },
  methods: {
    about: (one) => `${when(one.at)} · ${nameOf(one.author)}`,
    async look(one) {
      this.fault = null;
      try {
        const { data, type } = await replica.getBlob(one.value.sha256);
        this.putAway();
        this.url = URL.createObjectURL(new Blob([data], { type: one.value.type ?? type }));
        this.shown = this.about(one);
        this.$refs.frame.showModal();
      } catch (error) {
        if (!(error instanceof replica.ReplicaError)) throw error;
        this.fault = { why: t("photo.not_here"), do: t("photo.not_here_do") };
      }
    },
    putAway() {
      if (this.url) URL.revokeObjectURL(this.url);
      this.url = null;
    },
    async takeBack(one) {
      this.fault = await withdraw(this.item, one.id);
    },
    async putBack(one) {
      this.fault = await attachAgain(this.item, one.value);
    },
    /** A picture of these bytes that stands again needs no way back. */
    stands(one) {
      return this.kept.some((other) => other.value.sha256 === one.value.sha256);
    },
    opener(one) {
      const press = { type: "button", class: "secondary small kept-picture", onClick: () => this.look(one) };
      return h("button", press, [shape("picture"), h("span", t("photo.kept_at", { about: this.about(one) }))]);
    },
    one(one) {
      const said = t("photo.withdraw", { about: this.about(one) });
      const press = { type: "button", class: "quiet picture-withdraw", onClick: () => this.takeBack(one) };
      return h("li", { key: one.id }, [
        this.opener(one),
        h("button", { ...press, "aria-label": said }, [shape("cross")]),
      ]);
    },
    former(one) {
      const press = { type: "button", class: "quiet picture-put-back", onClick: () => this.putBack(one) };
      return h("li", { key: one.id, class: "is-withdrawn" }, [
        this.opener(one),
        h("span", { class: "aside" }, t("photo.withdrawn_at", { about: this.about(this.taken.get(one.id)) })),
        !this.stands(one) && h("button", press, [shape("undo"), t("photo.put_back")]),
      ]);
    },
    history() {
      const count = this.withdrawn.length;
      if (!count) return null;
      const press = { type: "button", class: "quiet pictures-withdrawn", "aria-expanded": String(this.open) };
      const said = t(count > 1 ? "photo.withdrawn" : "photo.withdrawn_one", { count });
      return [
        h("button", { ...press, onClick: () => (this.open = !this.open) }, [shape("down"), said]),
        this.open && h("ol", { class: "pictures" }, this.withdrawn.map(this.former)),
      ];
    },
    frame() {
      const title = t("photo.kept_title", { label: label(this.item), about: this.shown });
      return h("dialog", { ref: "frame", class: "photo-desk", "aria-label": title, onClose: this.putAway }, [
        h("header", { class: "photo-head" }, [
          h("h2", title),
          h("button", { type: "button", class: "quiet photo-close", onClick: () => this.$refs.frame.close() }, [
            shape("cross"),
            t("photo.close"),
          ]),
        ]),
        this.url && h("img", { class: "picture", src: this.url, alt: title }),
      ]);
    },
  },
  render() {
    if (!this.all.length) return null;
    return h("div", { class: "kept-pictures" }, [
      this.kept.length > 0 && h("ol", { class: "pictures", "aria-label": t("photo.list") }, this.kept.map(this.one)),
      this.history(),
      faultNote(this.fault),
      this.frame(),
    ]);
  },
};
