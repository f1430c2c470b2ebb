// The page without the laptop: its own files, all of one version, kept by the browser.
// Never an answer, never a photo.
const KEPT = "telltale-{version}";
const NAMES = {names};
const PATIENCE = 2500;

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(KEPT).then((kept) => kept.addAll(NAMES)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  const old = (names) => Promise.all(names.filter((name) => name !== KEPT).map((name) => caches.delete(name)));
  event.waitUntil(caches.keys().then(old).then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || !NAMES.includes(url.pathname)) return;
  const fresh = fetch(event.request, { signal: AbortSignal.timeout(PATIENCE) });
  event.respondWith(fresh.catch(() => caches.match(url.pathname)));
});
