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
  pair: "pair",
  walk: "walk",
  accept: "walk",
  wax: "walk",
  change: "walk",
};

const OPEN = ["data", "pair"]; // also where nobody is signed in

export default {
  // What is on the screen when somebody leaves stays there, behind the lock: whoever comes next goes on with it.
  data: () => ({ begun: null }),
  created() {
    begin();
    watch(
      () => route.page,
      () => {
        desk.asking = false;
      },
    );
    watch(
      () => [desk.ready, this.page],
      ([ready, page]) => {
        if (ready && page !== "staff") this.begun = page;
        nextTick(() => page !== "walk" && this.$el.querySelector?.("main h1")?.focus());
      },
    );
  },
  computed: {
    wanted() {
      return PAGES[route.page] ?? "visits";
    },
    page() {
      if (OPEN.includes(this.wanted)) return this.wanted;
      if (!desk.device) return "pair";
      return desk.asking || !author() ? "staff" : this.wanted;
    },
    /** The page behind the names, null for none. */
    behind() {
      return this.page === "staff" && this.begun === this.wanted && this.wanted !== "staff" ? this.wanted : null;
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
          h(
            "button",
            { type: "button", class: "who", "aria-label": t("app.who", { name: author().name }), onClick: ask },
            [
              shape("person"),
              h("span", { class: "name" }, author().name),
              h("span", { class: "initials" }, initials(author().name)),
            ],
          ),
      ]);
    },
  },
  render() {
    const kids = this.$slots.default(),
      find = (name) => kids.find((kid) => kid.props["data-page"] === name);
    if (desk.storeless) return h("div", { class: "chair" }, [this.strip(null), keepsNothing()]);
    const waiting = () => h("main", { class: "message", "aria-busy": "true" }, h("p", t("visit.loading")));
    const locked = this.behind !== null,
      shown = this.page === "staff" ? this.behind : this.page;
    return h("div", { class: ["chair", `on-${this.page}`] }, [
      this.strip(find("lamp")),
      !desk.ready && waiting(),
      desk.ready && this.page === "staff" && find("staff"),
      desk.ready && shown && h("div", { key: "room", class: "room", hidden: locked, inert: locked }, [find(shown)]),
    ]);
  },
};

const ask = () => {
  desk.asking = true;
};

/** An answer taken here would be gone with the page: so none is, and it is said why. */
const keepsNothing = () =>
  h("main", { class: "message", role: "alert" }, [
    h("h1", { tabindex: -1 }, t("store.none")),
    h("p", t("store.none_why")),
    h("p", t("store.none_do")),
    h("button", { type: "button", class: "primary", onClick: () => location.reload() }, t("store.again")),
    h("p", { class: "aside" }, desk.problem),
  ]);

const initials = (name) =>
  name
    .split(/\s+/)
    .filter((part) => /^\p{Lu}/u.test(part))
    .slice(-2)
    .map((part) => part[0])
    .join("");
