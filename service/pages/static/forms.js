// Says what is wrong with a form as it is typed. The service judges; here it is only shown.

const WAIT_MS = 400;

function put(form, name, message) {
  const input = form.querySelector(`[name="${CSS.escape(name)}"]`);
  const field = input?.closest(".field");
  if (!field) return;
  field.classList.toggle("is-wrong", message !== "");
  if (message) input.setAttribute("aria-invalid", "true");
  else input.removeAttribute("aria-invalid");
  const told = field.querySelector(".wrong");
  if (told && told.textContent !== message) told.textContent = message;
}

for (const form of document.querySelectorAll("form[data-check]")) {
  const touched = new Set();
  let timer = 0;
  let latest = 0;
  const look = async () => {
    const mine = ++latest;
    const typed = new URLSearchParams(new FormData(form));
    typed.delete("more");
    try {
      const answer = await fetch(form.dataset.check, { method: "POST", body: typed });
      if (!answer.ok || mine !== latest) return;
      const { errors } = await answer.json();
      for (const name of touched) put(form, name, errors[name] ?? "");
    } catch {
      // Without a signal nothing is said; the service looks again when the form is sent.
    }
  };
  form.addEventListener("change", (event) => {
    if (event.target.name) touched.add(event.target.name);
    clearTimeout(timer);
    timer = setTimeout(look, WAIT_MS);
  });
  form.addEventListener("input", (event) => {
    if (!touched.has(event.target.name)) return;
    clearTimeout(timer);
    timer = setTimeout(look, WAIT_MS);
  });
}
