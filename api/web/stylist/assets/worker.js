// Answers for pages below /my-day/ when the network does not, or the server is there and
// what it needs is not: assets from a copy that carries their hash, today's pages as they
// were kept, until they run out.
// SHELL and NAME stand before this text, written by the server.
"use strict";
const PLAN = "my-day-plan";
const AWAY = "/my-day/away";

self.addEventListener("install", (e) => {
  e.waitUntil(caches.open(NAME).then((c) => c.addAll(SHELL)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (e) => {
  e.waitUntil(caches.keys().then((list) => Promise.all(list.filter((n) => n.startsWith("my-day-shell-") && n !== NAME).map((n) => caches.delete(n))))
    .then(() => self.clients.claim()));
});
// A page that was opened while this was being installed asks for it.
self.addEventListener("message", (e) => {
  if (e.data === "take on") e.waitUntil(self.clients.claim());
});

const kept = async (url) => {
  const plan = await caches.open(PLAN);
  for (const r of await plan.keys()) {
    const a = await plan.match(r);
    if (Number(a.headers.get("X-Kept-Until")) <= Date.now()) await plan.delete(r);
  }
  const other = url.searchParams.has("date") || url.searchParams.has("staff");
  return !other && plan.match(url.pathname);
};
const nothing = async () => (await caches.open(NAME)).match(AWAY);
// down is an answer of a server that cannot serve for now, or of what stands before it.
const down = (r) => r.status >= 502 && r.status <= 504;
const page = async (request) => {
  const url = new URL(request.url);
  let timer;
  const slow = new Promise((_, lost) => { timer = setTimeout(lost, 8000); });
  try {
    const r = await Promise.race([fetch(request), slow]);
    // Whoever is signed out is led to where people sign in, and leaves nothing here.
    if (r.type === "opaqueredirect" || r.status === 401) await caches.delete(PLAN);
    return (down(r) && await kept(url)) || r; // its own words where nothing was kept
  } catch {
    return (await kept(url)) || nothing();
  } finally {
    clearTimeout(timer);
  }
};

self.addEventListener("fetch", (e) => {
  const url = new URL(e.request.url);
  if (e.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (SHELL.includes(url.pathname)) {
    e.respondWith(caches.open(NAME).then((c) => c.match(url.pathname)).then((r) => r || fetch(e.request)));
  } else if (e.request.mode === "navigate") {
    e.respondWith(page(e.request));
  }
});
