// Keeps what was opened readable where there is no network: pages of logs and plans, what they load, and the solids.
// Served at /service_worker.js, so that it may answer for every page; offline.js registers it.

const VERSION = "1"; // of how things are kept: another one forgets what was kept before
const KEEPS = { pages: 80, files: 60, solids: 24 };
const KEPT_AT = "x-kept-at";
const PATIENCE_MS = 3000;
const FRESH_MS = 300_000; // what was kept so lately is not asked for ahead again
const NEVER = /^\/(sign-in|sign-out|api\/|service_worker\.js|healthz)/;
const AFRESH = "afresh"; // in an address: from a page at the same one, a mark alone would load nothing
const SOLID = /\.bin$/;

const nameOf = (kind) => `pithline-${VERSION}-${kind}`;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(forget((name) => !name.startsWith(nameOf("")))
  .then(() => self.clients.claim())));
self.addEventListener("message", (event) => {
  const { forget: isForget, keep } = event.data ?? {};
  const work = isForget ? forget(() => true) : Promise.all((keep ?? []).slice(0, 60).map(keepNow));
  event.waitUntil(work.then(() => event.ports[0]?.postMessage("done")));
});

async function forget(which) {
  const names = (await caches.keys()).filter((name) => name.startsWith("pithline-") && which(name));
  await Promise.all(names.map((name) => caches.delete(name)));
}

// What kind of thing an address of ours is; null for what is never kept.
function kindOf(request) {
  const { origin, pathname } = new URL(request.url);
  if (origin !== self.location.origin || request.method !== "GET" || NEVER.test(pathname)) return null;
  if (pathname.startsWith("/static/")) return "files";
  if (SOLID.test(pathname)) return "solids";
  const asksForPage = request.mode === "navigate" || (request.headers.get("accept") ?? "").includes("text/html");
  return asksForPage ? "pages" : null;
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  const isOurs = origin === self.location.origin;
  if (isOurs && request.method !== "GET" && /^\/(sign-out|api\/session)$/.test(pathname)) {
    event.waitUntil(forget(() => true)); // whoever comes next is to see nothing of it
    return;
  }
  if (isOurs && request.method === "POST" && request.mode === "navigate" && !NEVER.test(pathname)) {
    event.respondWith(fetch(request).catch(() => notKnownIfSent(request.referrer)));
    return;
  }
  if (isOurs && request.mode === "navigate" && new URL(request.url).searchParams.has(AFRESH)) {
    const there = new URL(request.url);
    there.searchParams.delete(AFRESH);
    there.hash = "typed";
    event.respondWith(Response.redirect(there, 303));
    return;
  }
  const kind = kindOf(request);
  if (!kind) return;
  const isVersioned = kind === "files" && new URL(request.url).search;
  event.respondWith(isVersioned ? keptFirst(event, kind) : networkFirst(event, kind));
});

async function keptFirst(event, kind) {
  const kept = await (await caches.open(nameOf(kind))).match(event.request);
  return kept ?? keep(kind, event.request, await fetch(event.request));
}

async function networkFirst(event, kind) {
  const kept = await (await caches.open(nameOf(kind))).match(event.request);
  const network = fetch(event.request).then((answer) => keep(kind, event.request, answer));
  if (!kept) return network.catch((error) => (kind === "pages" ? notKept() : Promise.reject(error)));
  event.waitUntil(network.catch(() => null)); // late is better than never: for the next time
  const patience = new Promise((resolve) => { setTimeout(resolve, PATIENCE_MS, null); });
  const answer = await Promise.race([network.catch(() => null), patience]);
  return answer ?? (kind === "pages" ? marked(kept) : kept);
}

// Keeps a whole answer of our own, and gives it back; not one that led elsewhere, as to signing in.
async function keep(kind, request, answer) {
  const isPage = (answer.headers.get("content-type") ?? "").startsWith("text/html");
  const isWanted = answer.status === 200 && answer.type === "basic" && !answer.redirected;
  if (!isWanted || isPage !== (kind === "pages")) return answer;
  const headers = new Headers(answer.headers);
  for (const name of ["content-encoding", "content-length"]) headers.delete(name); // of how it travelled
  headers.set(KEPT_AT, new Date().toISOString());
  const body = await answer.clone().blob();
  const cache = await caches.open(nameOf(kind));
  await cache.delete(request); // so that the oldest stand first
  await cache.put(request, new Response(body, { status: 200, headers }));
  const all = await cache.keys();
  await Promise.all(all.slice(0, Math.max(0, all.length - KEEPS[kind])).map((old) => cache.delete(old)));
  return answer;
}

// Keeps what a page that was opened before this worker ran has loaded, and the pages it leads to.
async function keepNow(address) {
  const request = new Request(address, { headers: SOLID.test(address) ? {} : { accept: "text/html" } });
  const kind = kindOf(request);
  if (!kind) return;
  try {
    const kept = await (await caches.open(nameOf(kind))).match(request);
    const isFresh = kept && Date.now() - Date.parse(kept.headers.get(KEPT_AT)) < FRESH_MS;
    if (kept && (kind === "files" || (isFresh && address !== "/"))) return;
    await keep(kind, request, await fetch(request));
  } catch {
    // no network just now: it is kept when it is opened
  }
}

// Tells the page when it was kept.
async function marked(kept) {
  const text = await kept.text();
  const mark = `<meta name="kept-at" content="${kept.headers.get(KEPT_AT)}">`;
  return new Response(text.replace("</head>", `${mark}</head>`), { headers: kept.headers });
}

// What a kept page tells of itself: of which log it is (an id, a blank and the name), what page it is, and its title.
async function told(pages, request) {
  const kept = await pages.match(request);
  const text = await kept.text();
  const found = { path: new URL(request.url).pathname, when: new Date(kept.headers.get(KEPT_AT)) };
  for (const [meta, key] of [["of-log", "log"], ["page-name", "name"]]) {
    found[key] = new RegExp(`<meta name="${meta}" content="([^"]*)">`).exec(text)?.[1] ?? "";
  }
  found.title = /<title>(.*?)<\/title>/.exec(text)?.[1].replace(" · Pithline", "") ?? "";
  return found;
}

// Leads on to what is kept: log by log, each page by what it is and when it was kept. All texts are escaped already.
async function notKept() {
  const pages = await caches.open(nameOf("pages"));
  const logs = new Map();
  for (const request of (await pages.keys()).reverse()) {
    const { pathname, search } = new URL(request.url);
    if (search || !/^\/(logs|plans)\/(?!new$|sheet$)./.test(pathname)) continue;
    const { log, name, title, path, when } = await told(pages, request);
    if (!title) continue;
    const at = new Intl.DateTimeFormat(undefined, { dateStyle: "medium", timeStyle: "short" }).format(when);
    logs.set(log, [...(logs.get(log) ?? []), `<li><a href="${path}"><b>${name || title}</b> <span>saved ${at}</span></a></li>`]);
  }
  const lists = [...logs].map(([log, links]) => `<h2>${log.slice(log.indexOf(" ") + 1) || "Other pages"}</h2><ul class="list">${links.join("")}</ul>`);
  return page("Offline", `<p>There is no signal, and you have not opened this page on this device before.</p>
<p><a class="button main" href="/">Go to your yard</a></p>
${lists.length ? `<p>You can open these pages without a signal:</p>${lists.join("")}` : ""}`);
}

// What answers a form that was sent where the signal ended: before the service had it, or before its answer was here.
// offline.js puts back what was typed.
function notKnownIfSent(referrer) {
  const there = new URL(referrer || self.location.origin);
  there.searchParams.set(AFRESH, "");
  const isOurs = there.origin === self.location.origin;
  const back = isOurs ? `${there.pathname}${there.search}`.replace(/[&<>"]/g, (sign) => `&#${sign.charCodeAt(0)};`) : "/";
  return page("The signal was lost", `<p>We don't know whether this was sent. Check the log, the mill, or the prices before you send it again. What you
typed is still here.</p>
<p><a class="button main" href="${back}#typed">Back to what you typed</a></p>`, '<meta name="not-known-if-sent">');
}

// A page of the worker's own, dressed like any.
async function page(title, inside, head = "") {
  const files = (await (await caches.open(nameOf("files"))).keys()).map(({ url }) => url);
  const [sheet, script] = ["/pages.css", "/offline.js"].map((name) => files.find((url) => url.includes(name)));
  const text = `<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport"
content="width=device-width, initial-scale=1"><meta name="color-scheme" content="light dark"><title>${title}</title>
${sheet ? `<link rel="stylesheet" href="${sheet}">` : ""}
${head && script ? `${head}<script type="module" src="${script}"></script>` : ""}</head><body><header class="top"><a class="house" href="/">Pithline</a></header>
<main><h1>${title}</h1>${inside}</main></body></html>`;
  return new Response(text, { status: 503, headers: { "content-type": "text/html; charset=utf-8" } });
}
