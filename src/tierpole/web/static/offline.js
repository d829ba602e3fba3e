// Where the connection is encrypted (or on this computer) the entry pages start without a signal:
// what was seen last of them is shown; entries wait in queue.js. Everything else is never kept.

const KEPT = "tierpole-1";

self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { pathname } = new URL(event.request.url);
  const isKept = pathname === "/crew" || pathname.startsWith("/enter") || pathname.startsWith("/static/") || pathname.startsWith("/fonts/");
  if (event.request.method === "GET" && isKept) event.respondWith(fresh(event.request));
});

async function fresh(request) {
  const kept = await caches.open(KEPT);
  try {
    const answer = await fetch(request);
    if (answer.ok && !answer.redirected) await kept.put(request, answer.clone());
    return answer;
  } catch (error) {
    const before = await kept.match(request);
    if (before) return before;
    throw error;
  }
}
