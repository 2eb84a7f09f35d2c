// An angle measured on a photograph: camera or file, points set by tapping, moved with keys under a loupe, taken as a
// reading. The picture is in memory until the dialog closes; it is stored and sent only when it is kept with the visit.
import { h, markRaw, nextTick } from "vue";
import { attach, reading } from "tm_actions";
import { cornerAngle, isOnItsSide, lineAngle, tenths } from "tm_angle";
import { drawLoupe, drawPicture, fitted } from "tm_photo_draw";
import { emptied, jpegOf, pictureOf, turned } from "tm_picture";
import { faultNote, shape } from "tm_shapes";
import { label, spec, unit } from "tm_steps";
import { num, t } from "tm_words";

const SIDE = ["photo.tragus", "photo.ala", "photo.rim_back", "photo.rim_front"];
const POINTS = {
  "plane.front": ["photo.pupil_right", "photo.pupil_left", "photo.rim_right", "photo.rim_left"],
  "plane.right": SIDE,
  "plane.left": SIDE,
  "lip.nasolabial": ["photo.nose", "photo.corner", "photo.lip"],
};
const [REFERENCE, RIM] = ["#0b4a57", "#b3460a"];
const LOOKS = {
  line: {
    colours: [REFERENCE, REFERENCE, RIM, RIM],
    lines: [
      [0, 1, 0],
      [2, 3, 2],
    ],
  },
  profile: {
    colours: [REFERENCE, RIM, REFERENCE],
    lines: [
      [0, 1, 0],
      [1, 2, 0],
    ],
  },
};
const NUDGES = { up: [0, -1], left: [-1, 0], right: [1, 0], down: [0, 1] };
const LARGEST_KEPT = 2 * 1024 * 1024; // bytes of an attachment
const NUDGE = 1 / 1000; // of the picture's longer side

export default {
  props: { item: String },
  data: () => ({ picture: null, points: [], selected: 0, wanted: null, fault: null, keeping: "" }),
  computed: {
    names() {
      return POINTS[this.item].map((key) => t(key));
    },
    looks() {
      return LOOKS[spec(this.item).photo];
    },
    /** The point the next tap sets: the one asked for, else the first that is missing, else the selected one. */
    aim() {
      const missing = this.points.indexOf(null);
      return this.wanted ?? (missing < 0 ? this.selected : missing);
    },
    angle() {
      if (!this.picture || this.points.includes(null)) return null;
      const found = spec(this.item).photo === "line" ? lineAngle(this.points) : cornerAngle(this.points);
      return found === null ? null : tenths(found);
    },
    /** Why no angle can be taken although every point is set: a key of the words, or null. */
    hitch() {
      if (!this.picture || this.points.includes(null)) return null;
      if (spec(this.item).photo === "line" && isOnItsSide(this.points)) return "photo.on_its_side";
      return this.angle === null ? "photo.same_spot" : null;
    },
  },
  watch: {
    item() {
      this.$refs.desk.close();
    },
  },
  mounted() {
    this.resized = new ResizeObserver(() => this.draw());
  },
  beforeUnmount() {
    this.resized.disconnect();
    this.putAway();
  },
  updated() {
    this.draw();
  },
  methods: {
    async show(file) {
      if (!file) return;
      const { canvas, fault } = await pictureOf(file);
      this.fault = fault ? { why: t(fault), do: "" } : null;
      if (canvas) this.start(canvas);
    },
    start(canvas) {
      this.putAway();
      this.picture = markRaw(canvas);
      nextTick(() => {
        this.resized.observe(this.$refs.picture);
        this.$refs.picture.focus();
      });
    },
    putAway() {
      if (this.picture) emptied(this.picture);
      Object.assign(this, {
        picture: null,
        points: this.names.map(() => null),
        selected: 0,
        wanted: null,
        fault: null,
        keeping: "",
      });
    },
    draw() {
      const { picture, points, selected, looks } = this;
      if (!picture || !this.$refs.picture) return;
      drawPicture(this.$refs.picture, picture, { ...looks, points, selected });
      drawLoupe(this.$refs.loupe, picture, points[selected], looks.colours[selected]);
    },
    turn() {
      const height = this.picture.height;
      this.points = this.points.map((point) => point && [height - point[1], point[0]]);
      this.picture = markRaw(turned(this.picture));
    },
    put([x, y], i) {
      const within = (value, size) => Math.min(size, Math.max(0, value));
      this.points[i] = [within(x, this.picture.width), within(y, this.picture.height)];
    },
    /** Where in the picture a finger is. */
    under(event) {
      const { scale, left, top } = fitted(this.picture, event.target.clientWidth, event.target.clientHeight);
      return [(event.offsetX - left) / scale, (event.offsetY - top) / scale];
    },
    press(event) {
      event.target.setPointerCapture(event.pointerId);
      this.selected = this.aim;
      this.wanted = null;
      this.put(this.under(event), this.selected);
    },
    slide(event) {
      if (event.target.hasPointerCapture(event.pointerId)) this.put(this.under(event), this.selected);
    },
    choose(i) {
      this.selected = this.wanted = i;
    },
    nudge([dx, dy]) {
      const { width, height } = this.picture,
        by = Math.max(width, height) * NUDGE,
        [x, y] = this.points[this.selected] ?? [width / 2, height / 2];
      this.put([x + dx * by, y + dy * by], this.selected);
    },
    key(event) {
      const way = NUDGES[event.key.replace("Arrow", "").toLowerCase()];
      if (!way || !this.picture) return;
      event.preventDefault();
      this.nudge(way);
    },
    async take() {
      this.fault = await reading(this.item, { photo: this.angle });
      if (!this.fault) this.$refs.desk.close();
    },
    async keep() {
      this.keeping = "busy";
      this.fault = await attach(this.item, await jpegOf(this.picture, LARGEST_KEPT));
      this.keeping = this.fault ? "" : "done";
    },
    keeper() {
      if (this.keeping === "done")
        return h("p", { class: "said photo-kept", role: "status" }, [shape("done"), h("span", t("photo.kept"))]);
      const press = { type: "button", class: "secondary small photo-keep", disabled: Boolean(this.keeping) };
      return h("button", { ...press, onClick: this.keep }, [shape("tablet"), t("photo.keep")]);
    },
    source(name, capture) {
      const input = `${name}-input`;
      return h("div", [
        h("input", {
          ref: input,
          type: "file",
          accept: "image/*",
          capture,
          hidden: true,
          class: `photo-${name}`,
          onChange: (event) => this.show(event.target.files[0]).finally(() => (event.target.value = "")),
        }),
        h("button", { type: "button", class: "choice", onClick: () => this.$refs[input].click() }, [
          h("span", t(capture ? "photo.camera" : "photo.file")),
          shape(capture ? "camera" : "picture"),
        ]),
      ]);
    },
    asking() {
      return h("div", { class: "photo-ask" }, [
        this.source("camera", "environment"),
        this.source("file"),
        faultNote(this.fault),
        h("p", { class: "caution" }, [shape("alert"), h("span", t("photo.care"))]),
        h("p", { class: "aside" }, `${t("photo.memory")} ${t("photo.keep_care")}`),
      ]);
    },
    point(name, i) {
      const set = this.points[i] !== null;
      return h(
        "button",
        {
          type: "button",
          class: ["photo-point", this.selected === i && "is-selected", set && "is-set"],
          "aria-pressed": String(this.selected === i),
          onClick: () => this.choose(i),
        },
        [h("span", { class: "count", style: { "--point": this.looks.colours[i] } }, i + 1), name, set && shape("done")],
      );
    },
    nudges() {
      return h("div", { class: "nudges", role: "group", "aria-label": t("photo.nudge") }, [
        ...Object.entries(NUDGES).map(([name, way]) =>
          h(
            "button",
            {
              type: "button",
              class: ["key", `nudge-${name}`],
              "aria-label": t(`photo.${name}`),
              onClick: () => this.nudge(way),
            },
            [shape("next")],
          ),
        ),
        h("canvas", { ref: "loupe", class: "loupe", "aria-hidden": "true" }),
      ]);
    },
    result() {
      if (this.hitch) return faultNote({ why: t(this.hitch), do: "" });
      if (this.angle === null) return h("p", { class: "aside" }, t("photo.set_all"));
      const angle = num(this.angle, 0.1) + unit(this.item);
      return h("button", { type: "button", class: "primary photo-take", onClick: this.take }, [
        h("span", { class: "figure" }, angle),
        t("photo.take"),
      ]);
    },
    measuring() {
      return h("div", { class: "photo-measure" }, [
        h("canvas", {
          ref: "picture",
          class: "picture",
          tabindex: 0,
          role: "img",
          "aria-label": t("photo.picture"),
          onPointerdown: this.press,
          onPointermove: this.slide,
        }),
        h("div", { class: "photo-panel" }, [
          h(
            "p",
            { class: "photo-next", role: "status" },
            t(this.points.includes(null) ? "photo.tap" : "photo.move", { point: this.names[this.aim] }),
          ),
          h(
            "div",
            { class: "photo-points", role: "group", "aria-label": t("photo.points") },
            this.names.map(this.point),
          ),
          this.nudges(),
          h("div", { class: "photo-result", "aria-live": "polite" }, [this.result(), faultNote(this.fault)]),
          h("div", { class: "row wrap photo-more" }, [
            h("button", { type: "button", class: "secondary small photo-turn", onClick: this.turn }, [
              shape("turn"),
              t("photo.turn"),
            ]),
            h("button", { type: "button", class: "secondary small", onClick: this.putAway }, [
              shape("picture"),
              t("photo.other"),
            ]),
            this.keeper(),
          ]),
        ]),
      ]);
    },
  },
  render() {
    const title = t("photo.title", { label: label(this.item) });
    return h("div", { class: "photo" }, [
      h(
        "button",
        {
          type: "button",
          class: "secondary photo-open",
          "aria-label": title,
          onClick: () => this.$refs.desk.showModal(),
        },
        [shape("camera"), h("span", t("photo.open"))],
      ),
      h(
        "dialog",
        { ref: "desk", class: "photo-desk", "aria-label": title, onClose: this.putAway, onKeydown: this.key },
        [
          h("header", { class: "photo-head" }, [
            h("h2", title),
            h("button", { type: "button", class: "quiet photo-close", onClick: () => this.$refs.desk.close() }, [
              shape("cross"),
              t("photo.close"),
            ]),
          ]),
          this.picture ? this.measuring() : this.asking(),
        ],
      ),
    ]);
  },
};
