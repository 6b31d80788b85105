// SPDX-License-Identifier: MIT
// Keeps the pages that work without a network, and nothing else: what the API says
// is never answered from here. FILES and VERSION are set when the pages are built.
/* global FILES, VERSION */
const KEPT = `pages-${VERSION}`;
const pages = FILES.filter((file) => !file.startsWith("/assets/"));

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(KEPT)
    .then((cache) => cache.addAll(FILES.map((file) => new Request(file, { cache: "no-cache" }))))
    .then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(caches.keys()
    .then((names) => Promise.all(names.filter((name) => name !== KEPT).map((name) => caches.delete(name))))
    .then(() => self.clients.claim()));
});

// A kept page is shown at once, whatever the network does; a newer one is kept by
// the next worker. Files are named by their content.
self.addEventListener("fetch", (event) => {
  const { pathname, origin } = new URL(event.request.url);
  if (event.request.method !== "GET" || origin !== self.location.origin) return;
  if (!pathname.startsWith("/assets/") && !pages.includes(pathname)) return;
  event.respondWith(caches.match(pathname).then((kept) => kept ?? fetch(event.request)));
});
