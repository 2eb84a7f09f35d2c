// Which screen is shown. It stands in the address after the #, so reload, Back and a second tab need no memory of ours.
//
//   #/                        the visits            #/walk/VISIT/STEP/ITEM   a question
//   #/new                     a new visit           #/accept/VISIT/STEP      accepting a step with a reason
//   #/staff                   who is at the tablet  #/wax/VISIT              wax plan and adjustments
//   #/data                    where the data is     #/change/VISIT           recording an adjustment
//   #/pair                    to which clinic it belongs; #pair=CODE is what a pairing symbol holds
import { reactive } from "vue";

export const route = reactive({ page: "", visit: null, step: null, item: null });

export const href = (...parts) => "#/" + parts.filter(Boolean).join("/");

export function go(...parts) {
  location.hash = href(...parts);
}

/** The same as `go`, but Back skips the present screen. */
export function replace(...parts) {
  history.replaceState(null, "", href(...parts));
  read();
}

function read() {
  const code = location.hash.match(/^#\/?pair=(.+)$/)?.[1];
  if (code) return Object.assign(route, { page: "pair", visit: null, step: decodeURIComponent(code), item: null });
  const [page = "", visit = null, step = null, item = null] = location.hash.replace(/^#\/?/, "").split("/");
  Object.assign(route, { page, visit, step, item });
}

addEventListener("hashchange", read);
read();
