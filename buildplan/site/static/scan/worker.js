// The service worker: keeps the scan page and what it is made of, so that it opens and counts without a network. It is registered
// twice: for the scan page, and for signing out, where it forgets the page (never the scans, which are not its own).
// Before this text the server puts `VERSION`, a hash of the files, `PAGE`, `SIGN_OUT`, `FILES`, and `ABSENT`, a text by language.

/* global VERSION, PAGE, SIGN_OUT, FILES, ABSENT */
"use strict";

const FILES_CACHE = `scan-files-${VERSION}`;
const PAGES_CACHE = "scan-pages";
const PATIENCE = 4000; // ms for the page's own answer: a network that is barely there is none
const WAY_OUT = self.registration.scope.endsWith(SIGN_OUT);

let current = true; // whether the page that the server shows is of our version

self.addEventListener("install", (event) => {
  self.skipWaiting();
  if (!WAY_OUT) event.waitUntil(Promise.all([keepFiles(), keepPage()]));
});

self.addEventListener("activate", (event) => {
  event.waitUntil(Promise.all([WAY_OUT ? null : dropOld(), self.clients.claim()]));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (origin !== self.location.origin) return;
  if (pathname === SIGN_OUT && request.method === "POST") event.waitUntil(caches.delete(PAGES_CACHE));
  if (WAY_OUT || request.method !== "GET") return;
  if (pathname === PAGE) event.respondWith(page(request));
  else if (FILES.includes(pathname)) event.respondWith(file(request, pathname));
});

self.addEventListener("message", (event) => {
  if (event.data === "forget") event.waitUntil(caches.delete(PAGES_CACHE));
});

async function keepFiles() {
  const cache = await caches.open(FILES_CACHE);
  return cache.addAll(FILES.map((file) => new Request(file, { cache: "reload" })));
}

/** The page that registers us was loaded before we could keep it. */
async function keepPage() {
  const response = await fetch(PAGE);
  if (response.ok && !response.redirected) await (await caches.open(PAGES_CACHE)).put(PAGE, response);
}

async function dropOld() {
  const names = await caches.keys();
  return Promise.all(names.filter((name) => name.startsWith("scan-files-") && name !== FILES_CACHE).map((name) => caches.delete(name)));
}

/** The page from the network, and where there is none, as it was last. */
async function page(request) {
  const cache = await caches.open(PAGES_CACHE);
  let response;
  try {
    response = await fetch(request, { signal: AbortSignal.timeout(PATIENCE) });
  } catch {
    return (await cache.match(PAGE)) ?? absent();
  }
  if (response.ok && !response.redirected) {
    current = response.headers.get("Scan-Version") === VERSION;
    if (!new URL(request.url).search) await cache.put(PAGE, response.clone()); // else it shows what was just posted
  } else if (response.status < 500) await cache.delete(PAGE); // nobody is signed in any more
  return response;
}

/** A file of our version from the cache. Where the page is of another version, from the network. */
async function file(request, pathname) {
  const kept = await caches.match(pathname, { cacheName: FILES_CACHE });
  if (kept && current) return kept;
  return fetch(request).catch((error) => {
    if (kept) return kept;
    throw error;
  });
}

/** Nobody is signed in: the browser's language decides. */
function absent() {
  const known = navigator.languages.map((language) => language.split("-")[0]).find((language) => language in ABSENT);
  return new Response(ABSENT[known ?? Object.keys(ABSENT)[0]], { status: 503, headers: { "Content-Type": "text/plain; charset=utf-8" } });
}
