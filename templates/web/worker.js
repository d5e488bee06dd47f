// Serves the pages that a phone has opened before when it has no internet. It asks the network first, so that a
// page is never older than it must be.
"use strict";

const PATIENCE_MS = 4000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const request = event.request;
  if (request.method === "GET" && new URL(request.url).origin === location.origin) {
    event.respondWith(fromNetworkOrKept(request));
  }
});

async function fromNetworkOrKept(request) {
  const kept = await caches.open("kept");
  try {
    const fresh = await fetch(request, { signal: AbortSignal.timeout(PATIENCE_MS) });
    // A page with a question in its address is the same page; one copy of it is enough.
    if (fresh.ok && !new URL(request.url).search) await kept.put(request, fresh.clone());
    return fresh;
  } catch (error) {
    const found = await kept.match(request, { ignoreSearch: true, ignoreVary: true });
    if (found) return found;
    throw error;
  }
}
