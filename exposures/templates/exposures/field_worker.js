{% autoescape off %}/* Opens the field page without signal: the page and all it loads are kept under one version, and renewed together.

   A new version waits until no page of the old one is open, or the last one asks for it: none gets files of both. */

const KEPT = "pinpool-field {{ version }}";
const PAGE = "{{ page }}";
const FILES = {{ files }};

self.addEventListener("install", (event) => {
  // Past the browser's own cache, or old files might be kept under the new version. The page is kept as nobody's.
  const page = new Request(PAGE, { cache: "reload", credentials: "omit" });
  const files = FILES.map((file) => new Request(file, { cache: "reload" }));
  const keep = async () => (await caches.open(KEPT)).addAll([page, ...files]);
  event.waitUntil(keep());
});

self.addEventListener("activate", (event) => {
  const renew = async () => {
    for (const name of await caches.keys()) {
      if (name.startsWith("pinpool-field ") && name !== KEPT) await caches.delete(name);
    }
    await self.clients.claim();
  };
  event.waitUntil(renew());
});

self.addEventListener("message", (event) => {
  const takeOver = async () => {
    const pages = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
    if (pages.filter(({ url }) => new URL(url).pathname === PAGE).length === 1) await self.skipWaiting();
  };
  if (event.data === "take over") event.waitUntil(takeOver());
});

/* The page and its files come from the phone first; everything else, the API above all, goes to the network. */
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname, href } = new URL(request.url);
  const wanted = origin === location.origin ? pathname : href; // files may be of another host of the same site
  if (request.method !== "GET" || !(wanted === PAGE || FILES.includes(wanted))) return;
  const kept = async () => (await caches.match(wanted, { cacheName: KEPT })) ?? fetch(request);
  event.respondWith(kept());
});
{% endautoescape %}
