// The service worker of the kitchen: keeps the cook's pages, the seal pages and the files they are drawn with.
// Nothing else of the site is kept, and all of it goes when somebody signs out.
"use strict";

const CACHE = "kitchen-1";
const PATIENCE = 3000; // milliseconds that a slow network is waited for, where the page is kept
const LIST = "/batches/stove/";
const LOT = /^\/batches\/[0-9]{5}-?[0-9A-Za-z]{3,10}\/(stove|seals)\//;
const NEVER_CHANGES = /\.[0-9a-f]{12}\.[a-z0-9]+$/; // the name has its content's digest in it

// Under which address a page is kept; null for all that is not. Each step of a batch is the same page.
function placeOf(path) {
  if (path === LIST) return path;
  const found = LOT.exec(path);
  if (!found || path.endsWith("/stove/presses/")) return null;
  return found[0];
}

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

async function keep(address) {
  const answer = await fetch(address, { credentials: "same-origin", cache: "no-cache" });
  if (answer.ok && !answer.redirected) await (await caches.open(CACHE)).put(address, answer);
}

async function keepAll({ pages = [], files = [], only = false }) {
  const cache = await caches.open(CACHE);
  if (only) {
    // Batches that are over are kept no longer.
    for (const request of await cache.keys()) {
      const place = placeOf(new URL(request.url).pathname);
      if (place && !pages.includes(place)) await cache.delete(request);
    }
  }
  const missing = [];
  for (const file of files) {
    const path = new URL(file, self.location.origin).pathname;
    if (!(NEVER_CHANGES.test(path) && (await cache.match(path)))) missing.push(path);
  }
  await Promise.allSettled([...pages, ...missing].map(keep));
}

self.addEventListener("message", (event) => {
  const said = event.data || {};
  const work = said.wipe ? caches.delete(CACHE) : keepAll(said);
  event.waitUntil(work.then(() => event.ports[0] && event.ports[0].postMessage("done")));
});

function inTime(promise) {
  return new Promise((ok, no) => {
    setTimeout(() => no(new Error("slow")), PATIENCE);
    promise.then(ok, no);
  });
}

async function page(event, place) {
  const cache = await caches.open(CACHE);
  const kept = await cache.match(place);
  try {
    const asked = fetch(event.request);
    const answer = await (kept ? inTime(asked) : asked);
    if (answer.ok) event.waitUntil(cache.put(place, answer.clone()));
    else if (answer.type === "opaqueredirect" && !place.endsWith("/seals/")) await caches.delete(CACHE); // signed out
    else if (answer.status < 500) await cache.delete(place);
    return answer;
  } catch {
    return kept || Response.error();
  }
}

async function file(event) {
  const cache = await caches.open(CACHE);
  const path = new URL(event.request.url).pathname;
  const kept = await cache.match(path);
  if (kept && NEVER_CHANGES.test(path)) return kept;
  return fetch(event.request).catch(() => kept || Response.error());
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate") {
    const place = placeOf(url.pathname);
    if (place) event.respondWith(page(event, place));
  } else if (request.destination) {
    event.respondWith(file(event));
  }
});

// What the site pushes: shown as it came; a press opens its page.
self.addEventListener("push", (event) => {
  const said = event.data ? event.data.json() : {};
  const { title = "", body = "", url = "/", tag = "" } = said;
  event.waitUntil(self.registration.showNotification(title, { body, tag, data: { url } }));
});

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  const address = new URL(event.notification.data.url, self.location.origin);
  if (address.origin !== self.location.origin) return;
  event.waitUntil(self.clients.openWindow(address.href));
});
