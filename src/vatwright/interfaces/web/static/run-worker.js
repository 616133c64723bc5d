// Opens a run page that was open before where there is no network: the newest answer if there is one, else the kept one.
"use strict";

const KEPT = "vatwright-run";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

async function newest(request) {
  const kept = await caches.open(KEPT);
  try {
    const answer = await fetch(request);
    if (answer.ok) await kept.put(request, answer.clone());
    return answer;
  } catch (problem) {
    const before = await kept.match(request);
    if (before) return before;
    throw problem;
  }
}

self.addEventListener("fetch", (event) => {
  const { method, url } = event.request;
  const { origin, pathname } = new URL(url);
  const ours = origin === self.location.origin && (pathname.startsWith("/run/") || pathname.startsWith("/static/"));
  if (method === "GET" && ours && !pathname.endsWith("/now")) event.respondWith(newest(event.request));
});
