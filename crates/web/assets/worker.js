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
    if (had) await fill();
    else await forgetOld();
  })());
});

self.addEventListener("message", (event) => {
  if (event.data?.do !== "fill") return;
  const answer = (ready) => event.ports[0]?.postMessage(ready);
  event.waitUntil((async () => {
    const enough = event.data.once && (await isReady());
    answer(enough || (await fill().catch(() => false)) || (await isReady()));
  })());
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
  // Not when signing in: that may fail, and the pages of someone else go when the first
  // of whoever it is comes.
  if (request.method === "POST" && url.pathname === "/sign-out") {
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
    // One of another season, or of an entry, is not what a phone needs without signal.
    const plain = ["of", "done", "year"].every((name) => !url.searchParams.has(name));
    // Where nothing can be kept the page is shown all the same.
    if (plain) await keepPage(place(url), response.clone()).catch(() => false);
    return response;
  });
  // What comes late is kept for the next time.
  event.waitUntil(network.catch(() => {}));
  const patience = new Promise((done) => { setTimeout(done, PAGE_PATIENCE, null); });
  const first = await Promise.race([network.catch(() => null), patience]);
  // A server that is about to come back is no reason to show nothing.
  if (first && first.status < 500) return first;
  return (await kept(place(url))) ?? first ?? network;
}

/** What is kept of an address; what an older version kept only where this one has nothing. */
async function kept(at) {
  return (await (await caches.open(PAGES_CACHE)).match(at)) ?? caches.match(at);
}

/** Keeps a page of whoever is signed in, and drops those of anyone else. */
async function keepPage(at, response) {
  const whose = response.headers.get("bloomtide-person");
  if (!response.ok || response.redirected || whose === null) return false;
  const before = await kept("/whose");
  if (before && (await before.text()) !== whose) await forget((name) => name.startsWith("pages-"));
  const cache = await caches.open(PAGES_CACHE);
  await cache.put("/whose", new Response(whose));
  await cache.put(at, response);
  return true;
}

async function fill() {
  const all = await Promise.all(KEPT_PAGES.map(async (at) => keepPage(at, await fetch(at, { redirect: "manual" }))));
  if (!all.every(Boolean)) return false;
  await forgetOld();
  return isReady();
}

async function isReady() {
  const found = await Promise.all([...KEPT_PAGES, ...FILES].map((at) => caches.match(at)));
  return found.every(Boolean);
}

/** What older versions kept. */
function forgetOld() {
  return forget((name) => name !== ASSETS_CACHE && name !== PAGES_CACHE);
}

async function forget(which) {
  const names = await caches.keys();
  await Promise.all(names.filter(which).map((name) => caches.delete(name)));
}
