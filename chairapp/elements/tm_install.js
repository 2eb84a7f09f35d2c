// How this page comes onto the home screen: there the browser keeps what it holds, and it opens like a tool of its own.
import { h, reactive } from "vue";
import { t } from "tm_words";

const offer = reactive({ event: null }); // the browser's own offer, where it makes one

addEventListener("beforeinstallprompt", (event) => {
  event.preventDefault();
  offer.event = event;
});
addEventListener("appinstalled", () => {
  offer.event = null;
});

export const isInstalled = () => matchMedia("(display-mode: standalone)").matches || navigator.standalone === true;

/** What to do on this kind of tablet, as a sentence. */
export const installText = () => t(`install.${isInstalled() ? "done" : platform()}`);

/** A button where the browser offers to do it itself, else null. */
export function installButton() {
  if (!offer.event || isInstalled()) return null;
  return h("button", { type: "button", class: "secondary install", onClick: install }, t("install.now"));
}

async function install() {
  const { event } = offer;
  offer.event = null; // it may be asked once only
  await event.prompt();
}

// A tablet that calls itself a Mac is told from one by its touch screen.
function platform() {
  const { userAgent, maxTouchPoints } = navigator;
  if (/iPad|iPhone/.test(userAgent) || (/Macintosh/.test(userAgent) && maxTouchPoints > 1)) return "ios";
  return /Android/.test(userAgent) ? "android" : "other";
}
