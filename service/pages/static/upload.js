// Sends a scan with a bar that shows how far it is. Without this script the form sends itself.

const form = document.querySelector("form[data-upload]");
const box = form?.querySelector(".progress");

function send() {
  const bar = box.querySelector("progress");
  const told = box.querySelector("[role=status]");
  const button = form.querySelector("button.main");
  const request = new XMLHttpRequest();
  const failed = (message) => {
    button.disabled = false;
    told.textContent = message;
    told.classList.add("wrong");
  };
  told.classList.remove("wrong");
  told.textContent = "Uploading";
  box.hidden = false;
  button.disabled = true;
  request.open("POST", form.dataset.upload);
  request.responseType = "json";
  request.upload.addEventListener("progress", (event) => {
    if (!event.lengthComputable) return;
    bar.value = (100 * event.loaded) / event.total;
    told.textContent = event.loaded < event.total ? `Uploading: ${Math.floor(bar.value)}%` : "Uploaded";
  });
  request.addEventListener("load", () => {
    if (request.status < 300) {
      const { log, job } = request.response;
      location.assign(job ? `/jobs/${job.id}` : `/logs/${log.id}`);
    } else failed(request.response?.error?.message ?? "The upload was refused. Check the file and try again.");
  });
  request.addEventListener("error", () => failed("No signal. What you typed is still here. Try again when you have a signal."));
  const data = new FormData();
  for (const [name, value] of new FormData(form)) if (value !== "") data.append(name, value);
  request.send(data);
}

form?.addEventListener("submit", (event) => {
  if (!form.querySelector("input[type=file]").files.length) return;
  event.preventDefault();
  send();
});
