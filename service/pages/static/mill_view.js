// At the mill: one step at a time. The ticks of the list hold how far it is; this shows the step that is next, and ticks.

const mill = document.querySelector("[data-mill]");
const steps = [...mill.querySelectorAll("[data-step]")];
const [go, undo, last] = ["go", "undo", "last"].map((name) => mill.querySelector(`[data-${name}]`));
const boxOf = (tick) => (tick ? document.querySelector(`[data-tick="${tick}"]`) : null);
const isDone = (tick) => boxOf(tick)?.checked ?? false;
const isCut = (step) => step.dataset.step.startsWith("pass-");
const GLOVE_MS = 700; // a glove that taps twice means once
let tappedAt = 0;
let here = null;

// The first step that is not done. What comes before a cut that is made is over, but for cuts, of which none may be lost,
// and for what must be read before anything is done.
function next() {
  const made = steps.findLastIndex((step) => isCut(step) && isDone(step.dataset.step));
  return steps.find((step, k) => !isDone(step.dataset.step) && (k > made || isCut(step) || step.dataset.step === "stop"));
}

function before(step) {
  // A cut that was made before this plan cannot be taken back here.
  const from = steps.findIndex((one) => one.dataset.step === `pass-${mill.dataset.made}`) + 1;
  const done = steps.slice(from, Math.max(from, steps.indexOf(step))).filter((one) => isDone(one.dataset.step));
  return done.at(-1) ?? null;
}

const mustSweep = (step) => Boolean(step.dataset.sweep) && !isDone(step.dataset.sweep);

function show() {
  const step = next() ?? steps.at(-1);
  const isNew = step !== here;
  here = step;
  if (isNew) tappedAt = Date.now(); // another phone's tick must not change what a tap means
  for (const one of steps) one.hidden = one !== step;
  const sweeps = mustSweep(step);
  for (const one of step.querySelectorAll("[data-before-sweep]")) one.hidden = !sweeps;
  go.hidden = !step.dataset.step;
  go.textContent = sweeps ? "No metal" : step.dataset.done;
  const was = before(step);
  const isSwept = step.dataset.sweep && isDone(step.dataset.sweep);
  undo.disabled = !was && !isSwept;
  const by = was && boxOf(was.dataset.step).closest("label").querySelector("[data-by]").textContent;
  const words = was ? `Last: ${was.dataset.name}${by ? `, ${by}` : ""}` : "";
  if (last.textContent !== words) last.textContent = words;
}

function set(tick, isTicked) {
  const box = boxOf(tick);
  const was = here;
  box.checked = isTicked;
  box.dispatchEvent(new Event("change", { bubbles: true }));
  show();
  if (here !== was) mill.scrollIntoView({ block: "start" });
}

function tapped(what) {
  const now = Date.now();
  if (now - tappedAt < GLOVE_MS) return;
  tappedAt = now;
  what();
}

go.addEventListener("click", () => tapped(() => set(mustSweep(here) ? here.dataset.sweep : here.dataset.step, true)));
undo.addEventListener("click", () => tapped(() => {
  const isSwept = here.dataset.sweep && isDone(here.dataset.sweep);
  set(isSwept ? here.dataset.sweep : before(here).dataset.step, false);
}));
document.addEventListener("ticks", show); // as cut_list.js knows them now

// The screen stays lit while the page is looked at, where the browser can do that.
async function stayLit() {
  if (document.hidden) return;
  try {
    await navigator.wakeLock?.request("screen");
  } catch {
    // a low battery, or not allowed: the screen goes dark as ever
  }
}
document.addEventListener("visibilitychange", stayLit);
stayLit();

mill.hidden = false;
document.documentElement.classList.add("has-mill");
show();
