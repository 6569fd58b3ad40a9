// Lets a page be opened again while the computer is out of reach. Readings are not its business: they
// wait in the page's own store.

const SHELL = "floorwright-1";
const PATIENCE_MS = 5000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin || /\/(live|preview|check)$/.test(url.pathname)) return;
  event.respondWith((async () => {
    const cache = await caches.open(SHELL);
    const kept = await cache.match(event.request);
    // Scripts from before will do where the signal is all but gone. A page from before will not, as long as
    // the computer may answer: it could show passes that no longer hold.
    const limit = kept && url.pathname.startsWith("/assets/") ? { signal: AbortSignal.timeout(PATIENCE_MS) } : {};
    try {
      const answer = await fetch(event.request, limit);
      if (!answer.ok || answer.redirected) return answer;
      // Read to its end: an answer that breaks off is none.
      const body = await answer.blob();
      const fresh = new Response(body, { status: answer.status, headers: answer.headers });
      await cache.put(event.request, fresh.clone()).catch(() => {});
      return fresh;
    } catch (error) {
      if (kept) return kept;
      throw error;
    }
  })());
});
