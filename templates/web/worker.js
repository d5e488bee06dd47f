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

// One copy of each page, with or without a question in its address.
const named = (address) => new URL(address).pathname;

// The part of an address that is the code: what the pages of one order have in common.
const codeOf = (path) => path.match(/^.*?\/[tT](?:\/[A-Z2-7]+)+/)?.[0];

async function fromNetworkOrKept(request) {
  const kept = await caches.open("kept");
  const path = named(request.url);
  const found = (await kept.match(path, { ignoreVary: true })) ?? (await elsewhere(kept, path));
  try {
    // Who has nothing else to show waits as long as it takes.
    const fresh = await fetch(request, found ? { signal: AbortSignal.timeout(PATIENCE_MS) } : {});
    if (fresh.ok) await kept.put(named(fresh.url), await plain(fresh.clone()));
    if (fresh.status === 404) await forget(kept, path);
    return fresh;
  } catch (error) {
    if (found) return found;
    throw error;
  }
}

// A browser does not show a page that a host had led it to from another address unless it is told anew.
async function plain(reply) {
  return reply.redirected ? new Response(await reply.blob(), { headers: reply.headers }) : reply;
}

// A code that is no longer read must not show its times from here.
async function forget(kept, path) {
  const code = codeOf(path);
  for (const request of await kept.keys()) {
    if (code && codeOf(named(request.url)) === code) await kept.delete(request);
  }
}

// Its links hold at its own address alone, so the reader is led there: with or without the slash at the end, and to the
// guide in the language in which it is kept, which is better than none.
async function elsewhere(kept, path) {
  const pages = (await kept.keys()).map((one) => named(one.url));
  const bare = (one) => one.replace(/\/$/, "");
  const guide = (one) => bare(one).endsWith("/guide") && codeOf(one) === codeOf(path);
  const found = pages.find((one) => bare(one) === bare(path)) ?? (guide(path) ? pages.find(guide) : undefined);
  return found && Response.redirect(found);
}
