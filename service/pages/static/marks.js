// Takes a tap on the solid into the form of marks.

const figure = document.querySelector("figure.solid[data-marking]");
const form = document.querySelector("#mark-form");
const told = form?.querySelector("[data-tapped]");
const M_PER_FOOT = 0.3048;

function along(x_m) {
  if (told.dataset.metric) return `${x_m.toFixed(2)} m`;
  const inches = Math.round((x_m / M_PER_FOOT) * 12);
  return `${Math.floor(inches / 12)} ft ${inches % 12} in`;
}

function take({ x_m, y_m, z_m }) {
  for (const [name, value] of Object.entries({ x_m, y_m, z_m })) form.elements[name].value = value.toFixed(5);
  form.classList.add("is-tapped");
  told.textContent = `You tapped ${along(Math.max(0, x_m))} from the butt end. Choose what is there and add the mark.`;
  form.scrollIntoView({ block: "start", behavior: "smooth" });
}

if (form && form.elements.x_m.value) {
  take({ x_m: +form.elements.x_m.value, y_m: +form.elements.y_m.value, z_m: +form.elements.z_m.value });
}
figure?.addEventListener("marked", (event) => take(event.detail));
