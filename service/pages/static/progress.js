// Follows a job as it goes, and leads on when it ends.

const box = document.querySelector("[data-job]");
const bar = box?.querySelector("[data-bar]");
const stage = box?.querySelector("[data-stage]");
const left = box?.querySelector("[data-left]");
const picture = box?.querySelector("[data-picture]");
const best = box?.querySelector("[data-best]");
const gap = box?.querySelector("[data-gap]");
const ENDED = ["done", "failed", "cancelled"];

function money(amount) {
  const whole = Math.round(Math.abs(amount)).toLocaleString("en");
  const sign = amount < 0 && whole !== "0" ? "-" : "";
  return box.dataset.currency === "USD" ? `${sign}$${whole}` : `${sign}${whole} ${box.dataset.currency}`;
}

// By what percentage of the best so far another lay could be better, never too few.
function percentMore(gap) {
  const percent = (100 * gap) / (1 - gap);
  return percent > 1 ? Math.ceil(percent - 1e-6) : Math.ceil(10 * percent - 1e-6) / 10;
}

function leftWords(seconds) {
  if (seconds === null) return "";
  if (seconds < 10) return "a few seconds left";
  if (seconds < 90) return `about ${10 * Math.max(1, Math.round(seconds / 10))} seconds left`;
  return `about ${Math.round(seconds / 60)} minutes left`;
}

// The picture is drawn by the service, each time that a better plan is found; a slow one never overtakes.
let drawn = "";
let isDrawing = false;
let last = null;

async function draw(job) {
  const wanted = JSON.stringify(job.best);
  if (isDrawing || wanted === drawn) return;
  isDrawing = true;
  try {
    const answer = await fetch(`/jobs/${job.id}/best.svg`);
    const found = answer.ok ? await answer.text() : "";
    if (found) {
      const svg = new DOMParser().parseFromString(found, "image/svg+xml").documentElement;
      picture.replaceChildren(document.importNode(svg, true));
      drawn = wanted;
    }
  } catch {
    // No signal: the next event tries again.
  }
  isDrawing = false;
  if (last && last !== job && last.best) draw(last);
}

function show(job) {
  last = job;
  if (job.share > 0) bar.value = job.share;
  left.textContent = job.state === "running" ? leftWords(job.seconds_left) : "";
  // Reading goes step by step, and a step that began is not done; a search counts what is done.
  const isReading = ["read", "walk"].includes(job.kind);
  const step = isReading ? `step ${job.done + 1} of ${job.total}: ${job.stage}` : `${job.stage}: ${job.done} of ${job.total}`;
  const words = job.total > 0 ? step : job.stage;
  // What it waits behind was said by the page.
  if (job.state !== "queued" && stage.textContent !== words) stage.textContent = words;
  if (picture && job.best) draw(job);
  // The money is that of the picture, which follows a little behind.
  const net = job.best?.net ?? job.best_net;
  if (best && net !== null) best.textContent = money(net);
  if (gap && job.gap !== null && job.gap < 1) {
    gap.textContent = `at most ${percentMore(job.gap)}% more is possible`;
    gap.parentElement.hidden = false;
  }
}

function follow(path) {
  const events = new EventSource(path);
  events.addEventListener("job", (event) => {
    const job = JSON.parse(event.data);
    show(job);
    if (ENDED.includes(job.state)) {
      events.close();
      location.replace(box.dataset.then);
    }
  });
  events.addEventListener("error", () => {
    stage.textContent = "No signal. The work goes on, and this page catches up when the signal is back.";
  });
}

if (box?.dataset.job) follow(`/api/jobs/${box.dataset.job}/events`);
