"use strict";
/* Where the folder is served: keeps the pages that were opened, so that they open without a
   network. With a network the newer page wins. Records are not here; the page keeps them. */
const SHELF = "saltreach-phone-pages";
self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim().then(async () => {
  const shelf = await caches.open(SHELF);
  for (const client of await self.clients.matchAll()) await shelf.add(new Request(client.url, { cache: "reload" })).catch(() => {});
})));
self.addEventListener("fetch", (event) => {
  if (event.request.method !== "GET" || new URL(event.request.url).origin !== self.location.origin) return;
  event.respondWith((async () => {
    const shelf = await caches.open(SHELF);
    try {
      const fresh = await fetch(event.request);
      if (fresh.ok) await shelf.put(event.request, fresh.clone());
      return fresh;
    } catch (error) {
      const kept = await shelf.match(event.request, { ignoreSearch: true });
      if (kept) return kept;
      throw error;
    }
  })());
});
