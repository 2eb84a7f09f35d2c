// In which language the tablet speaks before a visit; shown where there is a choice.
import { h } from "vue";
import { shape } from "tm_shapes";
import { desk, speakAlways } from "tm_state";
import { capital, t } from "tm_words";

export default {
  render() {
    if (desk.visit || desk.languages.length < 2) return null;
    return h("div", { class: "row wrap languages", role: "group", "aria-label": t("app.language") }, desk.languages.map(one));
  },
};

/** What its own speakers call it. */
export const languageName = (code) => capital(new Intl.DisplayNames([code], { type: "language" }).of(code));

const one = (code) =>
  h(
    "button",
    {
      key: code,
      type: "button",
      class: "secondary",
      lang: code,
      "data-language": code,
      "aria-pressed": String(code === desk.language),
      onClick: () => speakAlways(code),
    },
    [code === desk.language && shape("done"), languageName(code)],
  );
