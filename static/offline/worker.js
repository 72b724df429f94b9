// The service worker of one release: RELEASE names it, ASSETS are all its page needs, the page itself first.
const CACHE = `keyround ${RELEASE}`;
const PATIENCE = 8_000; // a server that answers nothing at all is as good as none
const NO_SERVER = [502, 503, 504];
const NAMED_BY_CONTENT = /\.[0-9a-f]{12}\.\w+$/;

// Without cookies: what is kept holds nothing of anybody.
async function fill() {
  const cache = await caches.open(CACHE);
  await cache.addAll(ASSETS.map((address) => new Request(address, { cache: "reload", credentials: "omit" })));
  await self.skipWaiting();
}

async function tidy() {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name.startsWith("keyround ") && name !== CACHE).map((name) => caches.delete(name)));
  await self.clients.claim();
}

const kept = async (address) => (await caches.open(CACHE)).match(address);

function soon(request) {
  const late = new Promise((_, reject) => { setTimeout(() => reject(new Error("late")), PATIENCE); });
  return Promise.race([fetch(request), late]);
}

async function page(request) {
  try {
    const answer = await soon(request);
    return NO_SERVER.includes(answer.status) ? (await kept(ASSETS[0])) ?? answer : answer;
  } catch {
    return (await kept(ASSETS[0])) ?? Response.error();
  }
}

async function asset(request, address) {
  const mine = await kept(address);
  if (mine && NAMED_BY_CONTENT.test(address)) return mine;
  return soon(request).catch(() => mine ?? Response.error());
}

self.addEventListener("install", (event) => event.waitUntil(fill()));
self.addEventListener("activate", (event) => event.waitUntil(tidy()));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== location.origin || request.headers.has("HX-Request")) return;
  if (request.mode === "navigate") event.respondWith(page(request));
  else if (ASSETS.includes(pathname)) event.respondWith(asset(request, pathname));
});
