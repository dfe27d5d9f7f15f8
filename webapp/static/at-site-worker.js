// Keeps one technician's page, its style and its scripts, so that it opens on a mountain without a connection. Its
// scope is that signed link alone. With a connection the newest page is shown; once the office withdraws the link, or
// its time is over, nothing of it stays here.
"use strict";

const PAGE = new URL(self.registration.scope).pathname;
const CACHE = `at-site ${PAGE}`;
const PATIENCE_MS = 5000;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

const name = (url) => { const kept = new URL(url); kept.searchParams.delete("sent"); kept.hash = ""; return kept.href; };
const over = (answer) => answer.status === 404 || answer.status === 410;

const forget = async () => {
  await caches.delete(CACHE);
  await self.registration.unregister();
};

const take = async (request) => {
  const answer = await fetch(request);
  const url = new URL(request.url), ours = url.pathname === PAGE || url.pathname.startsWith(`${PAGE}/`);
  if (ours && over(answer)) await forget();
  else if (answer.ok && !answer.redirected && !url.pathname.startsWith(`${PAGE}/`)) {
    await (await caches.open(CACHE)).put(name(request.url), answer.clone());
  }
  return answer;
};

const answer = async (request) => {
  const kept = async () => (await caches.has(CACHE)) && (await caches.open(CACHE)).match(name(request.url));
  const fresh = take(request);
  fresh.catch(() => {});
  let late;
  const waited = new Promise((done) => { late = setTimeout(async () => done(await kept()), PATIENCE_MS); });
  try {
    return (await Promise.race([fresh, waited])) || (await fresh);
  } catch (failed) {
    const found = await kept();
    if (found) return found;
    throw failed;
  } finally {
    clearTimeout(late);
  }
};

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (url.pathname.startsWith(`${PAGE}/`)) event.respondWith(take(event.request));
  else event.respondWith(answer(event.request));
});

// The page says what it needs; "forget" after an answer that the link is over.
self.addEventListener("message", (event) => {
  if (event.data.forget) event.waitUntil(forget());
  if (event.data.keep) event.waitUntil(keep(event.data.keep, event.source));
});

const keep = async (urls, page) => {
  await Promise.allSettled(urls.map((url) => take(new Request(url, { cache: "reload" }))));
  const cache = (await caches.has(CACHE)) && await caches.open(CACHE);
  const there = cache ? await Promise.all(urls.map((url) => cache.match(name(url)))) : [null];
  if (page) page.postMessage({ kept: there.every(Boolean) });
};
