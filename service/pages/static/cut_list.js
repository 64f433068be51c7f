// Shows the ticks of everybody at this cut list, sends those that are made here, signal or not; and prints it.

import { allWaiting, drop, keep, kept, send, wait, waiting } from "./tick_queue.js";

const LOOK_MS = 3000;
const place = document.querySelector("[data-ticks]");
const { ticks, way, who } = place.dataset;
const boxes = [...document.querySelectorAll("input[data-tick]")];
const sawn = document.querySelector("#made");
const SEEN = `ticks ${ticks}`; // as the service told them last: a page that was kept for off-line is older
const clock = new Intl.DateTimeFormat(undefined, { timeStyle: "short" });
let wasUnsent = false;

const addressOf = (box) => `${ticks}/${way}/${box.dataset.tick}`;

// How a tick stands at the service, as far as this page knows: the state that was changed most often is the last.
function told(box) {
  const written = { is_ticked: box.defaultChecked, changes: Number(box.dataset.changes) };
  const seen = kept(SEEN)?.find((tick) => tick.way === way && tick.step === box.dataset.tick);
  return seen && seen.changes >= written.changes ? seen : written;
}

function note(news) {
  const all = new Map((kept(SEEN) ?? []).map((tick) => [`${tick.way}/${tick.step}`, tick]));
  for (const tick of news) {
    const name = `${tick.way}/${tick.step}`;
    if (!(all.get(name)?.changes > tick.changes)) all.set(name, tick);
  }
  keep(SEEN, [...all.values()]);
  show();
}

function show() {
  for (const box of boxes) {
    const change = waiting(addressOf(box));
    const tick = told(box);
    box.checked = change ? change.isTicked : tick.is_ticked;
    const by = box.closest("label").querySelector("[data-by]");
    if (change) by.textContent = change.isTicked ? "not sent yet" : "";
    else if (tick.changed_at) by.textContent = tick.is_ticked ? [tick.who, clock.format(new Date(tick.changed_at))].filter(Boolean).join(", ") : "";
  }
  const unsent = wasUnsent ? allWaiting().filter((address) => address.startsWith(`${ticks}/`)).length : 0;
  const words = unsent ? `${unsent === 1 ? "1 check mark is" : `${unsent} check marks are`} not sent yet. This phone keeps ${unsent === 1 ? "it" : "them"} until there is a signal.` : "";
  if (place.textContent !== words) place.textContent = words;
  tellSawn();
  document.dispatchEvent(new Event("ticks"));
}

function tellSawn() {
  const passes = boxes.filter((box) => box.checked && box.dataset.tick.startsWith("pass-"));
  const last = Math.max(0, ...passes.map((box) => Number(box.dataset.tick.slice(5))));
  // What was typed, and came back to be mended, stands.
  if (sawn && !("typed" in sawn.dataset) && last && sawn.querySelector(`option[value="${last}"]`)) sawn.value = String(last);
}

async function sendAll(live = null) {
  await send((address, tick) => { if (address.startsWith(`${ticks}/`)) note([tick]); }, live);
  wasUnsent = allWaiting().length > 0;
  show();
}

function change(box) {
  const address = addressOf(box);
  const before = waiting(address);
  wait(address, { isTicked: box.checked, who, when: Date.now(), seen: before ? before.seen : told(box).changes });
  show();
  sendAll(address);
}

async function look() {
  if (document.hidden) return;
  if (allWaiting().length) await sendAll();
  try {
    const answer = await fetch(ticks, { cache: "no-store", signal: AbortSignal.timeout(2 * LOOK_MS) });
    if (answer.ok) note(await answer.json());
  } catch {
    // Without a signal the ticks stand as they were seen last.
  }
}

async function lookOn() {
  await look();
  setTimeout(lookOn, LOOK_MS);
}

// Ticks from when each browser kept its own: as old as can be, so that they take nothing of anybody's away.
const own = `ticks ${ticks.split("/")[3]}-${way}`;
for (const step of kept(own) ?? []) {
  const box = boxes.find((one) => one.dataset.tick === step);
  if (box && !told(box).is_ticked) wait(addressOf(box), { isTicked: true, who, when: 0, seen: 0 });
}
drop(own);

// A weak signal brings this script late: what was ticked before it came stays ticked, all of it.
const early = boxes.filter((box) => box.checked !== box.defaultChecked).map((box) => [box, box.checked]);
for (const box of boxes) box.addEventListener("change", () => change(box));
for (const [box, isTicked] of early) {
  box.checked = isTicked; // the one before it showed all boxes as they were known
  change(box);
}
show();
lookOn();
document.addEventListener("visibilitychange", look);
addEventListener("online", look);
addEventListener("storage", show); // another tab's

const print = document.querySelector("[data-print]");
if (print) {
  print.hidden = false;
  print.addEventListener("click", () => window.print());
}
