// Who writes: every entry carries the name picked here.
import { h } from "vue";
import { go } from "tm_route";
import { shape } from "tm_shapes";
import { desk, setAuthor } from "tm_state";
import { t } from "tm_words";

export default {
  methods: {
    pick(id) {
      setAuthor(id);
      if (location.hash.startsWith("#/staff")) history.length > 1 ? history.back() : go();
    },
  },
  render() {
    return h("main", { class: "sheet staff" }, [
      h("h1", { tabindex: -1 }, t("staff.question")),
      h("p", { class: "hint" }, t("staff.hint")),
      h(
        "div",
        { class: "choices is-list", role: "group", "aria-label": t("staff.question") },
        (desk.clinic?.staff ?? []).map((person) =>
          h(
            "button",
            {
              key: person.id,
              type: "button",
              class: ["choice", desk.author === person.id && "is-given"],
              "data-staff": person.id,
              "aria-pressed": String(desk.author === person.id),
              onClick: () => this.pick(person.id),
            },
            [
              h("span", [person.name, h("span", { class: "aside" }, t(`role.${person.role}`))]),
              desk.author === person.id && shape("done"),
            ],
          ),
        ),
      ),
    ]);
  },
};
