// Registers the service worker, hands it what is to stay readable off-line, and says when a page comes from what was kept.
// `form[data-sign-out]` makes it forget all.

const LEADS = /^\/(logs|plans)\/[^/]+(\/[^/]+(\/cut-list)?)?$/;
const MOST = 24;

const keptAt = document.querySelector('meta[name="kept-at"]')?.content;
if (keptAt) say(new Date(keptAt));

function say(when) {
  const bar = document.createElement("p");
  bar.className = "offline-bar";
  bar.setAttribute("role", "status");
  const isToday = when.toDateString() === new Date().toDateString();
  const how = isToday ? { timeStyle: "short" } : { dateStyle: "medium", timeStyle: "short" };
  bar.textContent = `Off-line: as of ${new Intl.DateTimeFormat(undefined, how).format(when)}`;
  Object.assign(bar.style, { position: "sticky", top: "0", zIndex: "10", margin: "0", padding: "0.5rem 1rem",
    background: "var(--warn-soft, #fff3cf)", color: "var(--ink, #101c17)", fontWeight: "700",
    borderBottom: "3px solid var(--warn-edge, #a87900)" });
  const main = document.querySelector("main");
  if (main) main.before(bar); else document.body.prepend(bar);
}

// From a log or a plan the pages that belong to it; and, where the worker did not run yet, the page itself and what it
// loaded. (Where it ran it saw for itself, and knows what was the answer to a form.)
function addresses(isFirst) {
  const loaded = performance.getEntriesByType("resource").map((entry) => new URL(entry.name))
    .filter(({ origin, pathname }) => origin === location.origin && /^\/static\/|\.bin$/.test(pathname))
    .map(({ pathname, search }) => pathname + search);
  const solids = [...document.querySelectorAll("figure.solid")].flatMap(({ dataset }) => [dataset.solid, dataset.slabs]);
  const leads = LEADS.test(location.pathname)
    ? [...document.querySelectorAll("main a[href]")].filter((link) => link.origin === location.origin && !link.search
      && LEADS.test(link.pathname)).map((link) => link.pathname)
    : [];
  const own = isFirst ? [location.pathname + location.search, ...loaded, ...solids.filter(Boolean)] : [];
  // The yard, too: a copy from before the log came would look as if it were lost.
  return [...new Set([...own, ...(LEADS.test(location.pathname) ? ["/"] : []), ...[...new Set(leads)].slice(0, MOST)])];
}

async function begin() {
  const isFirst = !navigator.serviceWorker.controller;
  await navigator.serviceWorker.register("/service_worker.js");
  const { active } = await navigator.serviceWorker.ready;
  const told = new MessageChannel();
  told.port1.onmessage = () => { document.documentElement.dataset.kept = ""; };
  if (!keptAt) active.postMessage({ keep: addresses(isFirst) }, [told.port2]);
  for (const form of document.querySelectorAll("form[data-sign-out]")) {
    form.addEventListener("submit", () => active.postMessage({ forget: true }));
  }
}

// Without a signal a form would lead to the browser's own error page, and what was typed be gone. A machine without a
// network may still reach the service on itself, so that it is asked first.
addEventListener("submit", async (event) => {
  const { target: form, submitter } = event;
  if (navigator.onLine || form.method !== "post") return;
  event.preventDefault();
  try {
    await fetch("/healthz", { cache: "no-store" });
    if (submitter?.name) form.append(Object.assign(document.createElement("input"), { type: "hidden", name: submitter.name, value: submitter.value }));
    HTMLFormElement.prototype.submit.call(form);
  } catch {
    const told = form.querySelector("[data-no-signal]") ?? form.appendChild(document.createElement("p"));
    Object.assign(told, { className: "alert", textContent: "No signal, and this needs one. What you typed stays here: try again where there is one." });
    told.setAttribute("role", "alert");
    told.dataset.noSignal = "";
  }
}, true);

if ("serviceWorker" in navigator && !location.pathname.startsWith("/sign-in")) {
  const start = () => begin().catch((error) => console.warn(error));
  if (document.readyState === "complete") start();
  else addEventListener("load", start);
}
