// Keeps the ticks of a cut list on this phone, signal or not; and prints it.

const list = document.querySelector("[data-ticks]")?.dataset.ticks;
const key = `ticks ${list}`;

function kept() {
  try {
    return new Set(JSON.parse(localStorage.getItem(key) ?? "[]"));
  } catch {
    return new Set();
  }
}

const made = kept();
const boxes = document.querySelectorAll("input[data-tick]");
const sawn = document.querySelector("#made");

function tellSawn() {
  const passes = [...made].filter((name) => name.startsWith("pass-")).map((name) => name.slice(5));
  const last = Math.max(0, ...passes.map(Number));
  // What was typed, and came back to be mended, stands.
  if (sawn && !("typed" in sawn.dataset) && last && sawn.querySelector(`option[value="${last}"]`)) sawn.value = String(last);
}

function keep() {
  try {
    localStorage.setItem(key, JSON.stringify([...made]));
  } catch {
    // A full or forbidden store loses the ticks when the page is left, and nothing else.
  }
  tellSawn();
}

for (const box of boxes) {
  // A weak signal brings this script late: what was ticked before it came stays ticked.
  if (box.checked) made.add(box.dataset.tick);
  box.checked = made.has(box.dataset.tick);
  box.addEventListener("change", () => {
    if (box.checked) made.add(box.dataset.tick);
    else made.delete(box.dataset.tick);
    keep();
  });
}
keep();

const print = document.querySelector("[data-print]");
if (print) {
  print.hidden = false;
  print.addEventListener("click", () => window.print());
}
