// Keeps the coach's page for when there is no network: exactly these files, never an address with a query.

const KEPT = ["KEPT"].map((name) => new URL(name, self.location).href);
const OURS = `yardband ${new URL(".", self.location).pathname} `;
const CACHE = `${OURS}VERSION_OF_THE_PAGE`;

async function keep() {
  const cache = await caches.open(CACHE);
  await cache.addAll(KEPT.map((url) => new Request(url, { cache: "reload" })));
  await self.skipWaiting();
}

async function clear() {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name.startsWith(OURS) && name !== CACHE).map((name) => caches.delete(name)));
  await self.clients.claim();
}

// The server's page is always as new as the one that is kept, so it goes first.
async function serve(request, url) {
  const kept = async () => (await caches.open(CACHE)).match(url);
  try {
    const fresh = await fetch(request);
    return fresh.ok ? fresh : await kept() ?? fresh;
  } catch {
    return await kept() ?? Response.error();
  }
}

self.addEventListener("install", (event) => event.waitUntil(keep()));
self.addEventListener("activate", (event) => event.waitUntil(clear()));
self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  url.hash = "";
  if (event.request.method === "GET" && KEPT.includes(url.href)) event.respondWith(serve(event.request, url.href));
});
