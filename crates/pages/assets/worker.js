// Lets a page be opened again while the computer is out of reach. Readings are not its business: they
// wait in the page's own store.

const SHELL = "floorwright-1";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin || url.pathname.endsWith("/live")) return;
  event.respondWith((async () => {
    const cache = await caches.open(SHELL);
    try {
      const fresh = await fetch(event.request);
      if (fresh.ok) cache.put(event.request, fresh.clone());
      return fresh;
    } catch (error) {
      const kept = await cache.match(event.request);
      if (kept) return kept;
      throw error;
    }
  })());
});
