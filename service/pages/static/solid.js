// Puts the log in the round into every figure.solid:
//
//   <figure class="solid" data-solid="URL" [data-slabs="URL"] [data-marking]>
//     <canvas hidden></canvas> <div class="fallback">a drawing</div> [<input type="range" data-apart>]
//     [<div data-shows hidden><button value="seen"> <button value="colours"></div>] [<span data-drawn="KIND">]
//   </figure>
//
// data-marking: a tap on the log sends the event "marked" { x_m, y_m, z_m }, log frame. data-apart: draws the slabs
// apart; a tap on one sends "picked" { id }, and the event "pick" { id } to the figure picks one. Without WebGL2 the
// drawing stays. data-shows: where the scan told colours, a choice of what the surface shows. data-drawn: a legend's
// entry, hidden while nothing of its kind is drawn: bark (of the drawing); surface, seen, guessed, colours, colourless;
// slab, edge, waste, picked; heart, metal, flaw, tapped. Colours: --solid-KIND, and --solid-background.

import { boxOf, dot, plus, readSolid, tube } from "./solid_file.js";
import { View } from "./solid_view.js";

const LIGHT = { seen: "#8a5f38", guessed: "#f1ead9", heart: "#c4350d", metal: "#1d4ed8", flaw: "#3f3f46",
  slab: "#e9c48d", waste: "#b9b4aa", picked: "#ffc928", colourless: "#9a9c9b", background: "#ffffff" };
const DARK = { ...LIGHT, seen: "#c08a55", guessed: "#39424a", heart: "#ff5a2a", metal: "#7aa2ff", flaw: "#0b0b0d",
  slab: "#d9b27b", waste: "#656a6d", background: "#17221d" };
const dark = matchMedia("(prefers-color-scheme: dark)");
const TAP_PX = 9;
const GLOVE_PX = 22; // half of what a target must be for a glove
const TWICE_MS = 320;
const GAP = 1.2; // how far the slabs come apart in all, as a part of the log's height on the bed
const KEYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
const KEY_STEP = Math.PI / 18;

const paper = document.createElement("canvas").getContext("2d", { willReadFrequently: true });
function toneOf(text) {
  paper.fillStyle = "#888";
  paper.fillStyle = text;
  paper.fillRect(0, 0, 1, 1);
  return [...paper.getImageData(0, 0, 1, 1).data].slice(0, 3).map((x) => x / 255);
}
const darker = (tone) => tone.map((x) => x * 0.62);

async function fetched(address) {
  const answer = await fetch(address, { credentials: "same-origin" });
  if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
  return readSolid(await answer.arrayBuffer());
}

class Figure {
  constructor(figure) {
    this.figure = figure;
    this.canvas = figure.querySelector("canvas");
    this.slider = figure.querySelector("[data-apart]");
    this.fallback = figure.querySelector(".fallback") ?? figure.querySelector("svg");
    this.labels = [];
    this.picked = null;
    this.shows = "seen";
    this.legend = [...figure.querySelectorAll("[data-drawn]")];
    this.begin();
  }

  async begin() {
    this.failed?.remove();
    const { solid, slabs } = this.figure.dataset;
    try {
      const [log, apart] = await Promise.all([fetched(solid), slabs ? fetched(slabs) : null]);
      this.log = log;
      this.apart = apart;
    } catch (error) {
      console.warn(error);
      this.fail();
      return;
    }
    try {
      this.view = new View(this.canvas);
    } catch (error) {
      console.warn(error); // no WebGL2: the drawing stays
      return;
    }
    this.mount();
  }

  fail() {
    this.failed = document.createElement("p");
    this.failed.className = "solid-failed";
    this.failed.setAttribute("role", "status");
    this.failed.append("The 3D view did not load. ");
    const again = document.createElement("button");
    again.type = "button";
    again.className = "button small";
    again.textContent = "Try again";
    again.addEventListener("click", () => this.begin());
    this.failed.append(again);
    this.figure.append(this.failed);
  }

  mount() {
    const { figure, canvas } = this;
    this.stage = document.createElement("div");
    this.stage.className = "solid-stage";
    Object.assign(this.stage.style, { position: "relative", overflow: "hidden" });
    canvas.before(this.stage);
    this.stage.append(canvas);
    canvas.hidden = false;
    canvas.tabIndex = 0;
    canvas.setAttribute("role", "application");
    const does = figure.hasAttribute("data-marking") ? ", a tap or Enter marks a place" : "";
    canvas.setAttribute("aria-label", `The log in 3D: arrow keys turn it, plus and minus zoom, 0 resets${does}`);
    Object.assign(canvas.style, { display: "block", width: "100%", touchAction: "pan-y", cursor: "grab" });
    if (getComputedStyle(canvas).aspectRatio === "auto") canvas.style.aspectRatio = "4 / 3";
    canvas.style.maxHeight = "min(75vh, 36rem)";
    if (this.fallback) this.fallback.hidden = true;
    figure.classList.add("is-mounted");
    this.place();
    this.listen();
    this.paint();
  }

  // Makes what is drawn, in the log frame.
  place() {
    const { view, log, apart } = this;
    view.up = (apart ?? log).up;
    this.logBodies = log.parts.map((part) => ({ ...part, solid: true }));
    for (const line of log.hearts) this.logBodies.push({ ...tube(line, 0.45 * log.heart_radius_m), kind: "heart" });
    for (const rod of log.rods) {
      const from = plus(rod.from, plus(rod.from, rod.to, -1), 0.15);
      const kind = rod.kind === "metal" ? "metal" : "flaw";
      this.logBodies.push({ ...tube([from, rod.to], Math.max(rod.radius_m, 0.012), 20), kind });
    }
    this.slabBodies = (apart?.parts ?? []).map((part) => ({ ...part, up: apart.up, solid: true }));
    for (const body of [...this.logBodies, ...this.slabBodies]) view.add(Object.assign(body, { shift: [0, 0, 0] }));
    const { places, box } = log.parts[0];
    this.middle = box[0].map((x, k) => (x + box[1][k]) / 2);
    // Some hundreds of its points tell well enough how much room the log takes.
    const step = 3 * Math.ceil(places.length / 3 / 500);
    this.points = Array.from({ length: Math.ceil(places.length / step) }, (_, k) => [...places.subarray(step * k, step * k + 3)]);
    const heights = this.points.map((point) => dot(point, view.up));
    this.height = Math.max(...heights) - Math.min(...heights);
    for (const body of this.slabBodies.filter((one) => one.id)) this.label(body.id, buttOf(body)).body = body;
    this.isPartlyTold = log.parts.some(({ told }) => told?.some((value, k) => k % 4 === 3 && !value));
    this.recolour();
  }

  label(text, point) {
    const element = document.createElement("span");
    element.className = "solid-label";
    element.textContent = text;
    element.setAttribute("aria-hidden", "true");
    Object.assign(element.style, { position: "absolute", left: "0", top: "0", pointerEvents: "none" });
    this.stage.append(element);
    const made = { element, point };
    this.labels.push(made);
    return made;
  }

  recolour() {
    const given = getComputedStyle(this.figure);
    const usual = dark.matches ? DARK : LIGHT;
    const text = (name) => given.getPropertyValue(`--solid-${name}`).trim() || usual[name];
    const tone = Object.fromEntries(Object.keys(LIGHT).map((name) => [name, toneOf(text(name))]));
    this.colours = tone;
    for (const body of this.view.bodies) {
      if (body.kind === "log") Object.assign(body, { tone: tone.seen, other: tone.guessed, showsColours: this.shows === "colours" });
      else if (!body.solid) body.tone = tone[body.kind];
      else {
        const own = body.kind === "slab" ? tone[body.id === this.picked ? "picked" : "slab"] : tone.waste;
        Object.assign(body, { tone: own, other: darker(own) });
      }
    }
    for (const { element, body } of this.labels) {
      const isPicked = body && body.id === this.picked;
      Object.assign(element.style, {
        background: text(isPicked ? "picked" : "background"), color: isPicked || !dark.matches ? "#101c17" : "#f3f7f4",
        border: "1px solid currentColor", borderRadius: "0.4em", padding: "0 0.35em", fontWeight: "700", fontSize: "0.85rem", lineHeight: "1.35",
      });
    }
  }

  get share() {
    const { slider } = this;
    if (!slider || !this.apart) return 0;
    const [low, high] = [+(slider.min || 0), +(slider.max || 100)];
    return (slider.valueAsNumber - low) / (high - low || 1);
  }

  paint() {
    if (this.isDue) return;
    this.isDue = true;
    requestAnimationFrame(() => {
      this.isDue = false;
      if (!this.view.gl.isContextLost()) this.draw();
    });
  }

  draw() {
    const { canvas, view, apart, share } = this;
    const dots = Math.min(devicePixelRatio || 1, 2);
    const size = [canvas.clientWidth, canvas.clientHeight].map((x) => Math.max(1, Math.round(x * dots)));
    if (canvas.width !== size[0]) canvas.width = size[0];
    if (canvas.height !== size[1]) canvas.height = size[1];
    const isApart = share > 0;
    for (const body of this.logBodies) body.shown = !isApart;
    const spread = GAP * this.height * share;
    for (const body of this.slabBodies) {
      body.shown = isApart;
      const place = body.level === null || apart.levels < 2 ? 0 : body.level / (apart.levels - 1) - 0.5;
      body.shift = view.up.map((x) => x * place * spread);
    }
    view.look([-0.5, 0.5].flatMap((side) => this.points.map((p) => plus(p, view.up, side * spread))), this.middle);
    view.draw(this.colours);
    this.setLabels(share > 0.2);
    this.tell();
  }

  // Names what is drawn, and nothing else.
  tell() {
    const { log, shows, legend, slabBodies, logBodies } = this;
    const shown = new Set([...slabBodies, ...logBodies].filter((body) => body.shown).map((body) => body.kind));
    if (shown.delete("log")) {
      if (shows === "colours") {
        shown.add("colours");
        if (this.isPartlyTold) shown.add("colourless");
      } else if (log.guessed) shown.add("seen").add("guessed");
      else shown.add("surface");
      if (this.pin) shown.add("tapped");
    } else {
      shown.add("edge");
      for (const kind of ["offcut", "rest"]) if (shown.delete(kind)) shown.add("waste");
      if (this.picked !== null) shown.add("picked");
    }
    for (const entry of legend) entry.hidden = !shown.has(entry.dataset.drawn);
  }

  setLabels(haveRoom) {
    const taken = [];
    const placed = this.labels.map((label) => {
      const place = this.view.project(plus(label.point, label.body?.shift ?? [0, 0, 0]));
      return { ...label, ...place };
    });
    for (const { element, body, x, y, deep } of placed.sort((a, b) => a.deep - b.deep)) {
      const isFree = !taken.some((other) => Math.abs(other.x - x) < 34 && Math.abs(other.y - y) < 22);
      element.hidden = deep <= 0 || (body ? !haveRoom || !(isFree || body.id === this.picked) : this.share > 0);
      if (element.hidden) continue;
      taken.push({ x, y });
      element.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px) translate(-50%, -50%)`;
    }
  }

  listen() {
    const { canvas, figure, view } = this;
    const down = new Map();
    let tap = null;
    let lastTap = null;
    const turn = (dx, dy) => {
      view.turn -= dx;
      view.rise = Math.min(1.5, Math.max(-1.5, view.rise + dy));
      this.paint();
    };
    const zoom = (by) => {
      view.zoom = Math.min(8, Math.max(0.5, view.zoom * by));
      this.paint();
    };
    const at = (event) => {
      const edge = canvas.getBoundingClientRect();
      return { x: event.clientX - edge.left, y: event.clientY - edge.top };
    };
    const spread = () => {
      const [a, b] = [...down.values()];
      return Math.hypot(a.x - b.x, a.y - b.y) || 1;
    };
    canvas.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      canvas.setPointerCapture(event.pointerId);
      down.set(event.pointerId, at(event));
      tap = down.size === 1 ? at(event) : null;
    });
    canvas.addEventListener("pointermove", (event) => {
      const was = down.get(event.pointerId);
      if (!was) return;
      const is = at(event);
      if (tap && Math.hypot(is.x - tap.x, is.y - tap.y) < TAP_PX) return;
      tap = null;
      const before = down.size === 2 ? spread() : 0;
      down.set(event.pointerId, is);
      if (before) zoom(spread() / before);
      const pace = 5 / Math.max(canvas.clientWidth, 1) / down.size;
      turn((is.x - was.x) * pace, (is.y - was.y) * pace);
    });
    canvas.addEventListener("pointerup", (event) => {
      down.delete(event.pointerId);
      if (!tap) return;
      const place = tap;
      tap = null;
      const isTwice = lastTap && event.timeStamp - lastTap.when < TWICE_MS
        && Math.hypot(place.x - lastTap.x, place.y - lastTap.y) < 4 * TAP_PX;
      lastTap = isTwice ? null : { ...place, when: event.timeStamp };
      if (isTwice) {
        view.home();
        this.paint();
      } else this.touch(place);
    });
    canvas.addEventListener("pointercancel", (event) => {
      down.delete(event.pointerId);
      tap = null;
    });
    // One finger scrolls the page up and down; two are for the log alone.
    for (const kind of ["touchstart", "touchmove"]) {
      canvas.addEventListener(kind, (event) => {
        if (event.touches.length > 1 && event.cancelable) event.preventDefault();
      }, { passive: false });
    }
    canvas.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && document.activeElement !== canvas) return;
      event.preventDefault();
      zoom(Math.exp(-event.deltaY * (event.deltaMode ? 0.04 : 0.0015)));
    }, { passive: false });
    canvas.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      const way = KEYS[event.key];
      if (way) turn(way[0] * KEY_STEP, way[1] * KEY_STEP);
      else if (event.key === "+" || event.key === "=") zoom(1.2);
      else if (event.key === "-") zoom(1 / 1.2);
      else if (event.key === "0" || event.key === "Home") { view.home(); this.paint(); }
      else if (event.key === "Enter") this.touch({ x: canvas.clientWidth / 2, y: canvas.clientHeight / 2 });
      else return;
      event.preventDefault();
    });
    this.slider?.addEventListener("input", () => this.paint());
    const choice = figure.querySelector("[data-shows]");
    if (choice && this.log.coloured) {
      choice.hidden = false;
      choice.addEventListener("click", ({ target }) => {
        if (!target.value) return;
        this.shows = target.value;
        for (const button of choice.children) button.setAttribute("aria-pressed", String(button === target));
        this.recolour();
        this.paint();
      });
    }
    figure.addEventListener("pick", (event) => this.pick(event.detail.id));
    canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
    canvas.addEventListener("webglcontextrestored", () => {
      view.start();
      this.paint();
    });
    dark.addEventListener("change", () => {
      this.recolour();
      this.paint();
    });
    new ResizeObserver(() => this.paint()).observe(canvas);
  }

  // What is met under a place on the canvas or, as fingers in gloves are thick, round it.
  near({ x, y }) {
    for (const off of [0, GLOVE_PX / 2, GLOVE_PX]) {
      for (let turn = 0; turn < (off ? 8 : 1); turn += 1) {
        const met = this.view.cast(x + off * Math.cos((turn * Math.PI) / 4), y + off * Math.sin((turn * Math.PI) / 4));
        if (met) return met;
      }
    }
    return null;
  }

  // Tells the page what lies there.
  touch(place) {
    const met = this.near(place);
    if (!met) return;
    const tell = (name, detail) => this.figure.dispatchEvent(new CustomEvent(name, { detail, bubbles: true }));
    if (met.body.kind === "slab") {
      this.pick(met.body.id);
      tell("picked", { id: met.body.id });
    } else if (met.body.kind === "log" && this.figure.hasAttribute("data-marking")) {
      this.pin ??= this.label("×", met.point);
      this.pin.point = met.point;
      this.recolour();
      this.paint();
      const [x_m, y_m, z_m] = met.point;
      tell("marked", { x_m, y_m, z_m });
    }
  }

  pick(id) {
    this.picked = id;
    this.recolour();
    this.paint();
  }
}

// The middle of a slab's end that is nearest the butt: where its label stands.
function buttOf({ places, box }) {
  const end = [];
  for (let k = 0; k < places.length; k += 3) if (places[k] < box[0][0] + 0.05) end.push([...places.subarray(k, k + 3)]);
  const [low, high] = boxOf(end.flat());
  return low.map((x, k) => (x + high[k]) / 2);
}

// Figures far down a page load when they come near.
const near = new IntersectionObserver((entries) => {
  for (const { isIntersecting, target } of entries) {
    if (!isIntersecting) continue;
    near.unobserve(target);
    new Figure(target);
  }
}, { rootMargin: "300px" });
document.querySelectorAll("figure.solid[data-solid]").forEach((figure) => near.observe(figure));
