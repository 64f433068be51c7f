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

// Without a signal a form would lead to an error page, and what was typed be gone. What the browser says of its network
// is not to be trusted, so that the service is asked first; and where the signal goes just then, the worker leads back.
const ASK_MS = 6000;
const reached = new WeakSet();

addEventListener("submit", async (event) => {
  const { target: form, submitter } = event;
  if (form.method !== "post" || form.hasAttribute("data-upload")) return; // an upload tells of itself
  if (reached.delete(form)) {
    remember(form);
    return;
  }
  event.preventDefault();
  event.stopImmediatePropagation(); // whoever else waits for it hears of it when it is sent
  if ("asking" in form.dataset) return;
  form.dataset.asking = "";
  const isThere = await fetch("/healthz", { cache: "no-store", signal: AbortSignal.timeout(ASK_MS) }).then(() => true, () => false);
  delete form.dataset.asking;
  const place = submitter && !form.contains(submitter) ? submitter.parentElement : form;
  place.querySelector("[data-no-signal]")?.remove();
  if (isThere) {
    reached.add(form);
    form.requestSubmit(submitter);
  } else tell(place, "No signal, and this needs one. What you typed stays here: try again where there is one.");
}, true);

function tell(place, words) {
  const told = Object.assign(document.createElement("p"), { className: "alert", textContent: words });
  told.setAttribute("role", "alert");
  told.dataset.noSignal = "";
  place.append(told);
  told.scrollIntoView({ block: "nearest" });
}

// What is being sent, so that it can be put back; never a passphrase.
const TYPED = "typed";

function remember(form) {
  if (form.querySelector("input[type=password]")) return;
  const typed = [...new FormData(form)].filter(([, value]) => typeof value === "string");
  try {
    sessionStorage.setItem(TYPED, JSON.stringify({ action: form.getAttribute("action"), typed }));
  } catch {
    // A full or forbidden store: the browser's own way back may still have it.
  }
}

function putBack() {
  const { action, typed } = JSON.parse(sessionStorage.getItem(TYPED) ?? "{}");
  sessionStorage.removeItem(TYPED); // it came through, or is put back now
  const form = location.hash === "#typed" && [...document.forms].find((one) => one.getAttribute("action") === action);
  if (!form || form.method !== "post") return;
  const values = new Map(typed);
  for (const element of form.elements) {
    if (!element.name || element.type === "file") continue;
    if (["checkbox", "radio"].includes(element.type)) element.checked = values.get(element.name) === element.value;
    else if (values.has(element.name)) element.value = values.get(element.name);
    element.dataset.typed = "";
  }
  tell(form, "There was no signal, so nothing was sent. What you typed is here again.");
}

try {
  putBack();
} catch (error) {
  console.warn(error);
}

if ("serviceWorker" in navigator && !location.pathname.startsWith("/sign-in")) {
  const start = () => begin().catch((error) => console.warn(error));
  if (document.readyState === "complete") start();
  else addEventListener("load", start);
}
