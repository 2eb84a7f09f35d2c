// Who is at this tablet: a name, then the PIN. The author of every entry is who signed in here.
import { h } from "vue";
import Language from "tm_language";
import * as people from "tm_people";
import PinPad from "tm_pin_pad";
import { go, route } from "tm_route";
import { shape } from "tm_shapes";
import { author, desk, lamp, personOf, tabletOf } from "tm_state";
import { t } from "tm_words";

export default {
  data: () => ({ chosen: null, known: [] }),
  async mounted() {
    this.known = await people.knownIds();
  },
  computed: {
    person() {
      return personOf(this.chosen);
    },
  },
  methods: {
    pick(id) {
      if (id === desk.author) return this.leave();
      this.chosen = id;
    },
    async take(pin) {
      const fault = await people.signIn(this.chosen, pin, tabletOf());
      if (!fault) this.leave();
      return fault;
    },
    leave() {
      this.chosen = null;
      desk.asking = false;
      if (route.page === "staff") history.length > 1 ? history.back() : go();
    },
    name(person) {
      const here = desk.author === person.id,
        fresh = lamp.sync.online === false && !this.known.includes(person.id);
      return h(
        "button",
        {
          key: person.id,
          type: "button",
          class: ["choice", here && "is-given"],
          "data-staff": person.id,
          "aria-pressed": String(here),
          onClick: () => this.pick(person.id),
        },
        [
          h("span", [
            person.name,
            h("span", { class: "aside" }, t(`role.${person.role}`)),
            fresh && h("span", { class: "aside" }, t("staff.new_here")),
          ]),
          here && shape("done"),
        ],
      );
    },
    names() {
      return [
        h("h1", { tabindex: -1 }, t("staff.question")),
        h("p", { class: "hint" }, t(author() ? "staff.hint" : "staff.locked")),
        h(
          "div",
          { class: "choices is-list", role: "group", "aria-label": t("staff.question") },
          (desk.clinic?.staff ?? []).filter((person) => person.active !== false).map(this.name),
        ),
        author() &&
          h("div", { class: "row wrap" }, [
            h("button", { type: "button", class: "secondary back", onClick: this.leave }, [shape("back"), t("walk.back")]),
            h("button", { type: "button", class: "secondary lock", onClick: () => people.lock() }, [
              shape("lock"),
              t("staff.lock"),
            ]),
          ]),
      ];
    },
    pin() {
      return [
        h("h1", { tabindex: -1 }, t("pin.question", { name: this.person.name })),
        h(PinPad, {
          key: this.chosen,
          person: this.chosen,
          take: this.take,
          back: () => {
            this.chosen = null;
          },
        }),
      ];
    },
  },
  render() {
    return h("main", { class: ["sheet", this.person ? "pin" : "staff"] }, [
      desk.notice && h("p", { class: "caution notice", role: "status" }, [shape("alert"), h("span", desk.notice)]),
      ...(this.person ? this.pin() : this.names()),
      desk.clinic?.invented && h("p", { class: "hint demo-pin" }, t("pin.demo")),
      h(Language),
    ]);
  },
};
