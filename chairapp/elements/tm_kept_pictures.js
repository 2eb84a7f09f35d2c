// The pictures a clinician kept with the visit at one question: who kept each and when, and a look at it on tap.
import { h } from "vue";
import * as replica from "tm_replica";
import { faultNote, shape } from "tm_shapes";
import { desk, nameOf } from "tm_state";
import { label } from "tm_steps";
import { t, when } from "tm_words";

export default {
  props: { item: String },
  data: () => ({ url: null, shown: "", fault: null }),
  computed: {
    kept() {
      return desk.entries.filter((one) => one.kind === "attachment" && one.item === this.item && one.value?.sha256);
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
    one(one) {
      return h(
        "button",
        { key: one.id, type: "button", class: "secondary small kept-picture", onClick: () => this.look(one) },
        [shape("picture"), h("span", t("photo.kept_at", { about: this.about(one) }))],
      );
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
    if (!this.kept.length) return null;
    return h("div", { class: "kept-pictures" }, [...this.kept.map(this.one), faultNote(this.fault), this.frame()]);
  },
};
