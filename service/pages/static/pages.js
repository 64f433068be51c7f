// Of every page: meanings that close themselves, and alerts that are found.

document.addEventListener("click", (event) => {
  for (const word of document.querySelectorAll("details.word[open]")) {
    if (!word.querySelector("summary").contains(event.target)) word.open = false;
  }
});
document.addEventListener("keydown", (event) => {
  const open = document.querySelector("details.word[open]");
  if (event.key !== "Escape" || !open) return;
  open.open = false;
  open.querySelector("summary").focus();
});
const alert = document.querySelector(".alert[tabindex]");
alert?.focus();
alert?.scrollIntoView({ block: "start" });

// Paper holds all: what is folded is opened for printing, where the style sheet alone cannot.
addEventListener("beforeprint", () => {
  for (const folded of document.querySelectorAll("details:not(.word, .remove, [open])")) {
    folded.open = true;
    folded.dataset.printed = "";
  }
});
addEventListener("afterprint", () => {
  for (const opened of document.querySelectorAll("details[data-printed]")) {
    opened.open = false;
    delete opened.dataset.printed;
  }
});
