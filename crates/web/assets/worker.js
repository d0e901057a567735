// The worker: pages without signal, and what waits sent later where the browser can.
// Before it stand VERSION and FILES, and the modules that it shares with the pages.

const ASSETS_CACHE = `assets-${VERSION}`;
const PAGES_CACHE = `pages-${VERSION}`;
/** What is kept before anyone asks for it. */
const KEPT_PAGES = ["/today", "/log"];
/** So long the network may take before the kept page is shown, ms. */
const PAGE_PATIENCE = 1_200;

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(ASSETS_CACHE).then((cache) => cache.addAll(FILES)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    await self.clients.claim();
    // What an older version kept stays until this one has its own.
    const had = (await caches.keys()).some((name) => name.startsWith("pages-"));
    if (!had || (await fill())) await forget((name) => name !== ASSETS_CACHE && name !== PAGES_CACHE);
  })());
});

self.addEventListener("message", (event) => {
  if (event.data?.do !== "fill") return;
  const answer = (ready) => event.ports[0]?.postMessage(ready);
  event.waitUntil(fill().catch(() => false).then(async (filled) => answer(filled || await isReady())));
});

self.addEventListener("sync", (event) => {
  if (event.tag !== "entries") return;
  event.waitUntil(send().then(({ how }) => {
    if (how === "offline" || how === "failed") throw new Error(how);
  }));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "POST" && (url.pathname === "/sign-out" || url.pathname === "/sign-in")) {
    event.waitUntil(forget((name) => name.startsWith("pages-")));
    return;
  }
  if (request.method !== "GET") return;
  if (url.pathname.startsWith("/assets/")) {
    event.respondWith(caches.match(request).then((kept) => kept ?? fetch(request)));
  } else if (request.mode === "navigate" && place(url)) {
    event.respondWith(page(event, url));
  }
});

/** Under which address a page is kept; null for one that is not. */
function place(url) {
  if (KEPT_PAGES.includes(url.pathname)) return url.pathname;
  return /^\/blocks\/[^/]+$/.test(url.pathname) ? url.pathname : null;
}

/** The network first, the kept page when that takes too long. */
async function page(event, url) {
  const network = fetch(event.request).then(async (response) => {
    const plain = !url.searchParams.has("of") && !url.searchParams.has("done");
    if (plain) await keepPage(place(url), response.clone());
    return response;
  });
  // What comes late is kept for the next time.
  event.waitUntil(network.catch(() => {}));
  const patience = new Promise((done) => { setTimeout(done, PAGE_PATIENCE, null); });
  const first = await Promise.race([network.catch(() => null), patience]);
  // A server that is about to come back is no reason to show nothing.
  if (first && first.status < 500) return first;
  return (await caches.match(place(url))) ?? first ?? network;
}

/** Keeps a page of whoever is signed in, and drops those of anyone else. */
async function keepPage(at, response) {
  const whose = response.headers.get("bloomtide-person");
  if (!response.ok || response.redirected || whose === null) return false;
  const before = await caches.match("/whose");
  if (before && (await before.text()) !== whose) await forget((name) => name.startsWith("pages-"));
  const cache = await caches.open(PAGES_CACHE);
  await cache.put("/whose", new Response(whose));
  await cache.put(at, response);
  return true;
}

async function fill() {
  const kept = await Promise.all(KEPT_PAGES.map(async (at) => keepPage(at, await fetch(at, { redirect: "manual" }))));
  return kept.every(Boolean) && isReady();
}

async function isReady() {
  const found = await Promise.all([...KEPT_PAGES, ...FILES].map((at) => caches.match(at)));
  return found.every(Boolean);
}

async function forget(which) {
  const names = await caches.keys();
  await Promise.all(names.filter(which).map((name) => caches.delete(name)));
}
