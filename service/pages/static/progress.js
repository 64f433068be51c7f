// Follows a job as it goes, and leads on when it ends.

const box = document.querySelector("[data-job]");
const bar = box?.querySelector("[data-bar]");
const stage = box?.querySelector("[data-stage]");
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

function show(job) {
  if (job.total > 0) {
    bar.max = job.total;
    bar.value = job.done;
  } else {
    bar.removeAttribute("value");
  }
  // Reading goes step by step, and a step that began is not done; a search counts what is done.
  const isReading = ["read", "walk"].includes(job.kind);
  const step = isReading ? `step ${job.done + 1} of ${job.total}: ${job.stage}` : `${job.stage}: ${job.done} of ${job.total}`;
  const words = job.total > 0 ? step : job.stage;
  if (stage.textContent !== words) stage.textContent = words;
  if (best && job.best_net !== null) best.textContent = money(job.best_net);
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
