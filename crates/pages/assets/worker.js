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
      if (event.request.mode === "navigate") return outOfReach(cache, url);
      throw error;
    }
  })());
});

const SCREENS = { "": "The job", site: "Site", readings: "Readings", floor: "Floor", lift: "Lift", passes: "Passes", order: "Order", paper: "Paper", hose: "Your hose" };

/** A page that this phone never saw cannot be shown: what can be is linked. */
async function outOfReach(cache, url) {
  const job = /^\/jobs\/[0-9a-f-]{36}/.exec(url.pathname)?.[0];
  const paths = new Set((await cache.keys()).map((request) => new URL(request.url).pathname));
  const kept = Object.entries(SCREENS).map(([screen, name]) => [screen === "" ? job : `${job}/${screen}`, name])
    .filter(([path]) => job && paths.has(path));
  if (paths.has("/")) kept.push(["/", "All jobs"]);
  const links = kept.map(([path, name]) => `<a class="big" href="${path}">${name}</a>`).join("");
  const page = `<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Out of reach · Floorwright</title><link rel="stylesheet" href="/assets/style.css"></head><body><main id="main"><h1>The computer is out of reach</h1>
<p>This page was not opened on this phone before, so it cannot be shown without the computer. Nothing is lost: what was read waits on this phone and is sent when the computer is back.</p>
${links ? `<p>These can be opened meanwhile:</p>${links}` : ""}</main></body></html>`;
  return new Response(page, { status: 503, headers: { "content-type": "text/html; charset=utf-8" } });
}
