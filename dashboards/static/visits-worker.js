// Keeps the visits that were opened on this phone, so that they open again without a connection.
// The service puts PARTS before this: the addresses of what every page needs.
"use strict";

const PAGES = "suntally-visits";
const SHELF = "suntally-parts";
const PATIENCE_MS = 8000;
const FONTS = ["/static/text-latin.woff2", "/static/text-latin-ext.woff2"];

self.addEventListener("install", (event) => {
  self.skipWaiting();
  event.waitUntil(
    (async () => {
      const shelf = await caches.open(SHELF);
      const take = async (part) => (await shelf.match(part)) ?? shelf.add(part);
      await Promise.all(PARTS.map(take));
      // Without these a page can be worked with: on a poor line they come when they come.
      await Promise.allSettled([...FONTS, "/static/plotly.min.js"].map(take));
    })(),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      // A page that was kept needs the parts that it was made with.
      if (await caches.has(PAGES)) return self.clients.claim();
      const shelf = await caches.open(SHELF);
      const versions = new Map(PARTS.map((part) => [part.split("?")[0], part]));
      for (const request of await shelf.keys()) {
        const { pathname, search } = new URL(request.url);
        const wanted = versions.get(pathname);
        if (wanted && wanted !== pathname + search) await shelf.delete(request);
      }
      return self.clients.claim();
    })(),
  );
});

const fromShelf = async (request) => {
  const shelf = await caches.open(SHELF);
  const held = await shelf.match(request);
  if (held) return held;
  const answer = await fetch(request);
  if (answer.ok) await shelf.put(request, answer.clone());
  return answer;
};

// A visit is known by its number; what its address says besides is only for the moment.
const nameOf = (url) => (/^\/visits\/\d+/.test(url.pathname) ? url.pathname : url.pathname + url.search);

const VISIT = /^\/visits\/\d+$/;

// The visits that open without a connection, each as a link with its page's title (which the
// service escaped).
const keptVisits = async () => {
  const pages = await caches.open(PAGES);
  const paths = (await pages.keys()).map(({ url }) => new URL(url).pathname);
  const link = async (path) => {
    const title = /<title>([^<]*)/.exec(await (await pages.match(path)).text());
    return `<li><a href="${path}">${title ? title[1] : path}</a>`;
  };
  return Promise.all(paths.filter((path) => VISIT.test(path)).map(link));
};

const nothingHere = async () => {
  const visits = await keptVisits();
  const open = visits.length ? `<p>These visits open all the same:<ul>${visits.join("")}</ul>` : "";
  return new Response(
    '<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" ' +
      'content="width=device-width, initial-scale=1"><meta name="color-scheme" ' +
      'content="light dark"><title>No connection</title><style>body{font:1.125rem/1.5 sans-serif;' +
      "margin:1.5rem;max-width:36rem}a{display:inline-block;padding:.4rem 0}</style>" +
      "<main><h1>No connection</h1><p>This page was not opened on this phone before. What you " +
      `typed on visits is safe.${open}<p><a href="">Try again</a></main>`,
    { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } },
  );
};

const patiently = (request) =>
  new Promise((done, failed) => {
    const timer = setTimeout(() => failed(new Error("too slow")), PATIENCE_MS);
    fetch(request).then(done, failed).finally(() => clearTimeout(timer));
  });

const fromService = async (request, name) => {
  const pages = await caches.open(PAGES);
  const held = await pages.match(name);
  try {
    const answer = held ? await patiently(request) : await fetch(request);
    // Sent away to sign in: whoever holds the phone now sees nothing that was kept.
    if (answer.type === "opaqueredirect" || answer.status === 401) await caches.delete(PAGES);
    else if (answer.ok && !answer.redirected) await pages.put(name, answer.clone());
    else if (answer.status === 404 || answer.status === 403) await pages.delete(name);
    return answer;
  } catch {
    return held ?? (request.mode === "navigate" ? nothingHere() : Response.error());
  }
};

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (url.pathname.startsWith("/static/")) event.respondWith(fromShelf(request));
  else if (/^\/visits(\/\d+(\/record|\/photos\/\d+)?)?$/.test(url.pathname)) {
    event.respondWith(fromService(request, nameOf(url)));
  }
});
