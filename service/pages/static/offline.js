// Registers the service worker, hands it what is to stay readable off-line, and says when a page comes from what was kept.
// `form[data-sign-out]` makes it forget all.

const LEADS = /^\/(logs|plans)\/[^/]+(\/[^/]+(\/cut-list)?)?$/;
const MOST = 24;

const keptAt = document.querySelector('meta[name="kept-at"]')?.content;
if (keptAt) say(new Date(keptAt));
const isNotKnown = document.querySelector('meta[name="not-known-if-sent"]') !== null; // the worker's answer to a form

function say(when) {
  const bar = document.createElement("p");
  bar.className = "offline-bar";
  bar.setAttribute("role", "status");
  const isToday = when.toDateString() === new Date().toDateString();
  const how = isToday ? { timeStyle: "short" } : { dateStyle: "medium", timeStyle: "short" };
  bar.textContent = `Offline: saved ${new Intl.DateTimeFormat(undefined, how).format(when)}`;
  Object.assign(bar.style, { position: "sticky", top: "0", zIndex: "10", margin: "0", padding: "0.5rem 1rem",
    background: "var(--warn-soft, #fff3cf)", color: "var(--ink, #101c17)", fontWeight: "700",
    borderBottom: "3px solid var(--warn-edge, #a87900)" });
  const main = document.querySelector("main");
  if (main) main.before(bar); else document.body.prepend(bar);
}

// From a log or a plan the pages that belong to it, and what the page loaded; where the worker did not run yet, the page
// itself, too. (Where it ran it saw that for itself, and knows what was the answer to a form.)
function addresses(isFirst) {
  const loaded = performance.getEntriesByType("resource").map((entry) => new URL(entry.name))
    .filter(({ origin, pathname }) => origin === location.origin && /^\/static\/|\.bin$/.test(pathname))
    .map(({ pathname, search }) => pathname + search);
  const solids = [...document.querySelectorAll("figure.solid")].flatMap(({ dataset }) => [dataset.solid, dataset.slabs]);
  const leads = LEADS.test(location.pathname)
    ? [...document.querySelectorAll("main a[href]")].filter((link) => link.origin === location.origin && !link.search
      && LEADS.test(link.pathname)).map((link) => link.pathname)
    : [];
  // A worker that came while the page was loading saw only some of what it loaded.
  const own = [...loaded, ...(isFirst ? [location.pathname + location.search, ...solids.filter(Boolean)] : [])];
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
    form.addEventListener("submit", () => {
      active.postMessage({ forget: true });
      sessionStorage.removeItem(TYPED);
    });
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
  } else tell(place, "No signal, so nothing was sent. What you typed is still here. Try again when you have a signal.");
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
const AS_TYPED = "as_typed"; // asks for a form's page with its rows as they were typed, and for no row more

function remember(form) {
  if (form.querySelector("input[type=password]")) return;
  const typed = [...new FormData(form)].filter(([, value]) => typeof value === "string");
  // A page that came back from a form lies at the form's address; its own stands in the form of units.
  const page = document.querySelector(".units input[name=back]")?.value ?? location.pathname + location.search;
  store({ action: form.getAttribute("action"), typed, page });
}

function store(sent) {
  try {
    sessionStorage.setItem(TYPED, JSON.stringify(sent));
  } catch {
    // A full or forbidden store: the browser's own way back may still have it.
  }
}

async function putBack() {
  const sent = JSON.parse(sessionStorage.getItem(TYPED) ?? "null");
  if (!sent) return;
  if (isNotKnown) {
    store({ ...sent, isOpen: true });
    const link = document.querySelector("a[href$='#typed']");
    if (link && sent.page) {
      const there = new URL(sent.page, location); // it may be kept, where the form's address is not
      there.search = `${there.search}${there.search ? "&" : "?"}afresh=`;
      link.href = `${there.pathname}${there.search}#typed`;
    }
    return;
  }
  if (location.hash !== "#typed" && !sent.isOpen) {
    sessionStorage.removeItem(TYPED); // it came through
    return;
  }
  const form = formOf(document, sent.action);
  if (!form) {
    store({ ...sent, isOpen: true }); // for when its page is there
    return;
  }
  const values = new Map(sent.typed);
  let missing = fill(form, values);
  if (missing.length && form.querySelector("button[name=more]")) {
    form.inert = true; // what was typed meanwhile would be lost
    const withRows = await formAsTyped(sent).catch(() => null);
    if (withRows) form.replaceChildren(...withRows.childNodes);
    form.inert = false;
    missing = fill(form, values);
  }
  const once = "The signal was lost, and we don't know whether this was sent. Check whether it is there before you send it again.";
  if (missing.length) {
    store({ ...sent, isOpen: true });
    tell(form, `${once} Some of what you typed could not be put back: ${missing.join("; ")}. Load the page again when you have a signal, or type it again.`);
  } else {
    sessionStorage.removeItem(TYPED);
    tell(form, `${once} What you typed is here again.`);
  }
}

function formOf(page, action) {
  return [...page.forms].find((one) => one.method === "post" && one.getAttribute("action") === action);
}

// Rows that were added are made by the service: it gives the form again with all of them, and keeps nothing.
async function formAsTyped({ action, typed }) {
  const body = new URLSearchParams([...typed, ["more", AS_TYPED]]);
  const answer = await fetch(action, { method: "POST", body, signal: AbortSignal.timeout(ASK_MS) });
  return answer.ok ? formOf(new DOMParser().parseFromString(await answer.text(), "text/html"), action) : null;
}

// Puts values into a form; returns those that found no place there, each as "what it is called: value".
function fill(form, values) {
  const placed = new Set();
  for (const element of form.elements) {
    const { name, type } = element;
    if (!name || type === "file" || element.tagName === "BUTTON") continue;
    if (["checkbox", "radio"].includes(type)) element.checked = values.get(name) === element.value;
    else if (values.has(name)) element.value = values.get(name);
    element.dataset.typed = "";
    if (element.tagName === "SELECT" && values.has(name) && element.value !== values.get(name)) {
      element.selectedIndex = 0; // what was chosen is no longer offered
      continue;
    }
    placed.add(name);
    const folded = element.closest("details.more");
    if (folded && values.get(name)) folded.open = true;
  }
  return [...values].filter(([name, value]) => value && !placed.has(name)).map(([name, value]) => `${labelOf(form, name)}${value}`);
}

function labelOf(form, name) {
  // A row more is called what the rows before it are.
  const alike = name.replace(/\.\d+/g, ".0");
  const label = form.elements[alike]?.labels?.[0]?.textContent.replace("*", "").trim(); // the star of what is needed
  return label ? `${label}: ` : "";
}

putBack().catch((error) => console.warn(error));

if ("serviceWorker" in navigator && !isNotKnown && !location.pathname.startsWith("/sign-in")) {
  const start = () => begin().catch((error) => console.warn(error));
  if (document.readyState === "complete") start();
  else addEventListener("load", start);
}
