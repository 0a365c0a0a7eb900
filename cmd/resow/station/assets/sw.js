// The service worker, which browsers give to https and to this machine only. It
// keeps the shell and the due list as it was last seen, to be read while the
// network is away. It touches no other page, nothing that is sent, and no live
// stream: steps that wait are the business of kept.js alone.
"use strict";
const CACHE = "resow-2";
const SHELL = ["/assets/style.css", "/assets/kept.js", "/assets/live.js", "/assets/app.js", "/assets/icon.svg"];

self.addEventListener("install", (e) => e.waitUntil(caches.open(CACHE).then((c) => c.addAll(SHELL)).then(() => self.skipWaiting())));
self.addEventListener("activate", (e) => e.waitUntil(caches.keys()
  .then((names) => Promise.all(names.filter((n) => n !== CACHE).map((n) => caches.delete(n))))
  .then(() => self.clients.claim())));

self.addEventListener("fetch", (e) => {
  const url = new URL(e.request.url);
  if (e.request.method !== "GET" || url.origin !== self.location.origin) return;
  const due = e.request.mode === "navigate" && url.pathname === "/";
  if (due || SHELL.includes(url.pathname)) e.respondWith(answer(e, url.pathname, due));
});

async function answer(e, path, due) {
  const cache = await caches.open(CACHE);
  let fresh;
  try {
    fresh = await soon(e.request);
  } catch (away) {
    const kept = await cache.match(path);
    if (!kept) throw away;
    return due ? stale(kept) : kept;
  }
  const gone = fresh.redirected || fresh.type === "opaqueredirect" || fresh.status === 401 || fresh.status === 403;
  if (fresh.ok && !gone) e.waitUntil(cache.put(path, fresh.clone()).catch(() => {})); // a full disk must not cost the page
  else if (due && gone) await cache.delete(path); // not paired any more: it has no business here
  return fresh;
}

// soon gives up where no answer has begun after 8 s; one that has may take longer
async function soon(request) {
  const stop = new AbortController(), timer = setTimeout(() => stop.abort(), 8000);
  try { return await fetch(request, { signal: stop.signal }); } finally { clearTimeout(timer); }
}

// the page says itself that it is old
async function stale(kept) {
  const text = await kept.text();
  return new Response(text.replace('id="stale" hidden', 'id="stale"'), { headers: kept.headers });
}
