// The frame of the tablet page: the strip along the top, and below it the one page that the address names.
import { h, nextTick, watch } from "vue";
import { shownCode } from "tm_box_code";
import { href, route } from "tm_route";
import { shape } from "tm_shapes";
import { author, begin, desk, opening } from "tm_state";
import { chairName, t } from "tm_words";

const PAGES = {
  "": "visits",
  new: "new",
  staff: "staff",
  data: "data",
  walk: "walk",
  accept: "walk",
  wax: "walk",
  change: "walk",
};

export default {
  created() {
    begin();
    watch(
      () => route.page,
      (page) =>
        nextTick(() => {
          if (PAGES[page] !== "walk") this.$el.querySelector?.("h1")?.focus();
        }),
    );
  },
  computed: {
    page() {
      const wanted = PAGES[route.page] ?? "visits";
      return desk.clinic && !author() && wanted !== "data" ? "staff" : wanted;
    },
  },
  methods: {
    strip(lamp) {
      const opened = this.page === "walk" && opening();
      return h("header", { class: "strip" }, [
        route.page === ""
          ? h("span", { class: "brand" }, t("app.name"))
          : h("a", { class: "home-link", href: href(), "aria-label": t("app.visits") }, [
              shape("back"),
              h("span", t("app.visits")),
            ]),
        opened &&
          h("p", { class: "which" }, [
            h("strong", { class: "code" }, shownCode(opened.value.box)),
            h("span", { class: "chair" }, chairName(opened.value.chair)),
          ]),
        desk.clinic?.invented && h("span", { class: "invented" }, t("app.invented")),
        lamp,
        author() &&
          h("a", { class: "who", href: href("staff"), "aria-label": t("app.who", { name: author().name }) }, [
            shape("person"),
            h("span", { class: "name" }, author().name),
            h("span", { class: "initials" }, initials(author().name)),
          ]),
      ]);
    },
  },
  render() {
    const kids = this.$slots.default(),
      find = (name) => kids.find((kid) => kid.props["data-page"] === name);
    return h("div", { class: ["chair", `on-${this.page}`] }, [
      this.strip(find("lamp")),
      desk.ready ? find(this.page) : h("main", { class: "message", "aria-busy": "true" }, h("p", t("visit.loading"))),
    ]);
  },
};

const initials = (name) =>
  name
    .split(/\s+/)
    .filter((part) => /^\p{Lu}/u.test(part))
    .slice(-2)
    .map((part) => part[0])
    .join("");
