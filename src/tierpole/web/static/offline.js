// Where the connection is encrypted (or on this computer) the entry pages start without a signal:
// what was seen last of them is shown; entries wait in queue.js. Everything else is never kept.
// What queue.js itself asks for is left to the network: it must know whether there is one.

const KEPT = "tierpole-2"; // the same in queue.js

self.addEventListener("activate", (event) => event.waitUntil(begin()));

async function begin() {
  for (const name of await caches.keys()) if (name !== KEPT) await caches.delete(name);
  await self.clients.claim();
}

self.addEventListener("fetch", (event) => {
  const { mode, url } = event.request;
  const { pathname } = new URL(url);
  const isPage = mode === "navigate" && (pathname === "/crew" || pathname.startsWith("/enter"));
  const isPart = pathname.startsWith("/static/") || pathname.startsWith("/fonts/");
  if (event.request.method === "GET" && (isPage || isPart)) event.respondWith(fresh(event.request));
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
