// Keeps every file of the page, so that it opens without a network. VERSION and FILES are written by .ci/site.
const VERSION = "@VERSION@";
const FILES = ["@FILES@"];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(VERSION).then((cache) => cache.addAll(FILES)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => {
  const others = caches.keys().then((names) => Promise.all(names.filter((name) => name.startsWith("skewstar-") && name !== VERSION).map((name) => caches.delete(name))));
  event.waitUntil(others.then(() => self.clients.claim()));
});
self.addEventListener("fetch", (event) => {
  if (event.request.method !== "GET") return;
  event.respondWith(caches.match(event.request, { ignoreSearch: true, cacheName: VERSION }).then((kept) => kept ?? fetch(event.request)));
});
