// Takes the service worker of the tablet page back: the page then comes from the node, as any other. Entries are untouched.
self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(retire()));

async function retire() {
  const names = (await caches.keys()).filter((name) => name.startsWith("chair-"));
  await Promise.all(names.map((name) => caches.delete(name)));
  await self.registration.unregister();
}
